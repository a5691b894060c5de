"""Decks, tapes and all else that the book knows by version: read, add, edit, retire, correct."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from fluxbench.base import MisuseError
from fluxbench.book import KINDS, Correction, HistoryRow, Version, Writing, schema_of
from fluxbench.session import now_utc
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS
from fluxbench.web._models import Id, Strict, Text

router = APIRouter(prefix="/api", responses=REFUSALS)

Who = Annotated[str, Field(min_length=1, max_length=80)]
Number = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]


class Add(Strict):
    """Add a thing; the id becomes its own."""

    id: Id
    facts: dict[str, Any]
    who: Who | None = None
    why: Text | None = None


class Edit(Strict):
    """Change the facts that are named, and no others; null unsays one."""

    id: Id
    facts: dict[str, Any]
    who: Who | None = None
    why: Text | None = None
    after: int | None = None
    """The row that was edited: refused with 409 if there is a newer one."""


class Retire(Strict):
    """Take a thing out of use, or back into it; it stays readable."""

    id: Id
    retired: bool = True
    who: Who | None = None
    why: Text | None = None


class Correct(Strict):
    """Say what counts instead of a reading, which stays; null: nothing does."""

    id: Id
    reading: Number | None
    error: Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)] | None = None
    why: Text
    who: Who | None = None


class Thing(BaseModel):
    """A version of a thing."""

    row: int
    id: str
    kind: str
    at: str
    who: str | None
    why: str | None
    facts: dict[str, Any]
    assumed: dict[str, Any]
    retired: bool
    uses: int | None = None
    """Of a calibration tape as it is now."""


class Things(BaseModel):
    """Things of a kind as they are now, by name."""

    kind: str
    things: list[Thing]


class ThingWhole(BaseModel):
    """A thing as it is now, and all it was, newest first."""

    thing: Thing
    versions: list[Thing]


class KindTold(BaseModel):
    """A kind of thing and the JSON Schema of its facts."""

    kind: str
    one: str
    belongs: dict[str, str]
    facts: dict[str, Any]


class Kinds(BaseModel):
    """What the book knows kinds of."""

    kinds: list[KindTold]


class ReadingTold(BaseModel):
    """A reading as it counts, and what it was if it was corrected."""

    row: int
    at: str
    lineup: str
    stage: str
    trimmer: str
    track: int | None
    kind: str
    reading: float | None
    error: float | None
    unit: str
    speed_ips: float | None
    corrected: dict[str, Any] | None


class ReadingsTold(BaseModel):
    """Readings of a line-up, in order."""

    lineup: str
    readings: list[ReadingTold]


LARGE = ("measured", "image")
"""Facts that a list leaves out."""


@router.get("/book")
def kinds() -> Kinds:
    """The kinds of things."""
    return Kinds(kinds=[
        KindTold(kind=k.name, one=k.one, belongs=dict(k.belongs), facts=schema_of(k.name))
        for k in KINDS.values()
    ])  # fmt: skip


@router.get("/book/{kind}")
def things(session: Bench, kind: str, retired: bool = False) -> Things:
    """Things of a kind."""
    _check_kind(kind)
    found = session.book.things(kind, retired=retired)
    return Things(kind=kind, things=_told(session, kind, found, as_row))


@router.get("/book/{kind}/{thing}")
def thing(session: Bench, kind: str, thing: str) -> ThingWhole:
    """A thing with its versions."""
    versions = _versions(session, kind, thing)
    return ThingWhole(
        thing=_told(session, kind, versions[-1:])[0],
        versions=[as_row(version) for version in reversed(versions)],
    )


@router.post("/book/{kind}")
def add(session: Bench, kind: str, body: Add) -> Thing:
    """Add a thing."""
    _check_kind(kind)
    return _kept(session, Writing(body.id, kind, None, body.facts, now_utc(), body.who, body.why))


@router.post("/book/{kind}/{thing}")
def edit(session: Bench, kind: str, thing: str, body: Edit) -> Thing:
    """Edit a thing."""
    _versions(session, kind, thing)
    return _kept(session, Writing(
        body.id, kind, thing, body.facts, now_utc(), body.who, body.why, after=body.after
    ))  # fmt: skip


@router.post("/book/{kind}/{thing}/retire")
def retire(session: Bench, kind: str, thing: str, body: Retire) -> Thing:
    """Retire a thing, or take it back."""
    _versions(session, kind, thing)
    return _kept(session, Writing(
        body.id, kind, thing, {}, now_utc(), body.who, body.why, retired=body.retired
    ))  # fmt: skip


@router.get("/lineups/{lineup}/readings")
def readings(session: Bench, lineup: str) -> ReadingsTold:
    """The readings of a line-up, with the numbers by which they can be corrected."""
    rows = session.book.readings_of(lineup)
    if not rows and all(row.id != lineup for row in session.book.lineups()):
        raise HTTPException(404, f"no line-up is called {lineup!r}")
    return ReadingsTold(lineup=lineup, readings=[_reading(row) for row in rows])


@router.post("/readings/{row}/correct")
def correct(session: Bench, row: int, body: Correct) -> ReadingTold:
    """Correct a reading."""
    correction = Correction(body.id, row, now_utc(), body.why, body.reading, body.error, body.who)
    try:
        return _reading(session.book.correct(correction))
    except MisuseError as error:
        raise HTTPException(404, str(error)) from None


def _check_kind(kind: str) -> None:
    if kind not in KINDS:
        raise HTTPException(404, f"no kind is called {kind!r}; there are {', '.join(KINDS)}")


def _versions(session: Bench, kind: str, thing: str) -> list[Version]:
    _check_kind(kind)
    versions = session.book.versions(kind, thing)
    if not versions:
        raise HTTPException(404, f"the book has no {KINDS[kind].one} {thing!r}")
    return versions


def _kept(session: Bench, writing: Writing) -> Thing:
    version = session.book.keep(writing)
    return _told(session, writing.kind, [version])[0]


def as_thing(version: Version, uses: int | None = None) -> Thing:
    """A version as it is answered."""
    return Thing(
        row=version.row, id=version.id, kind=version.kind, at=version.at, who=version.who,
        why=version.why, facts=dict(version.facts), assumed=version.assumed,
        retired=version.retired, uses=uses,
    )  # fmt: skip


def as_row(version: Version, uses: int | None = None) -> Thing:
    """The same in a list, without what is large: what was measured in a capture, a picture."""
    thing = as_thing(version, uses)
    return thing.model_copy(
        update={"facts": {name: told for name, told in thing.facts.items() if name not in LARGE}}
    )


def _told(
    session: Bench,
    kind: str,
    versions: list[Version],
    told: Callable[[Version, int | None], Thing] = as_thing,
) -> list[Thing]:
    uses = session.book.uses(versions) if kind == "tapes" else {}
    return [told(version, uses.get(version.id)) for version in versions]


def _reading(row: HistoryRow) -> ReadingTold:
    return ReadingTold(
        row=row.row, at=row.at, lineup=row.lineup, stage=row.stage, trimmer=row.trimmer,
        track=row.track, kind=row.kind, reading=row.reading, error=row.error, unit=row.unit,
        speed_ips=row.speed_ips, corrected=None if row.corrected is None else dict(row.corrected),
    )  # fmt: skip
