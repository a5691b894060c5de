"""Captures: add one by its path, have it measured, read what was found."""

import os
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import Request

from fluxbench.base import ConflictError, MisuseError
from fluxbench.book import Version, Writing
from fluxbench.captures import capture_at
from fluxbench.captures.catalogue import Declared, equalisation_of, name_of
from fluxbench.session import Session, now_utc
from fluxbench.trade import format_named, standard_for
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS
from fluxbench.web._measuring import Job, Measuring
from fluxbench.web._models import Id, Strict, Text
from fluxbench.web._things import Thing, Who, as_row, as_thing

router = APIRouter(prefix="/api/captures", responses=REFUSALS)

Speed = Annotated[float, Field(gt=0.0, le=120.0, allow_inf_nan=False)]
Level = Annotated[float, Field(ge=-80.0, le=0.0, allow_inf_nan=False)]
Tone = Annotated[float, Field(ge=20.0, le=20_000.0, allow_inf_nan=False)]


class Measure(Strict):
    """Measure a capture; what is declared about it counts, and stays open where nobody says."""

    id: Id
    speed_ips: Speed | None = None
    """Of the reel; that of the capture's reel in the book if left out."""
    played: Text | None = None
    """Equalisation it was played with: 3180/50, inf/35, or a name."""
    level_dbfs: Level | None = None
    """What its reference tone should read."""
    speed_tone_hz: Tone | None = None
    """A tone on it that proves speed."""
    format: Text | None = None
    """Track format; that of the capture's reel if left out."""


class AddCapture(Measure):
    """Add a capture by its path on the bench's computer, and measure it."""

    path: Annotated[str, Field(min_length=1, max_length=4096)]
    reel: Id | None = None
    who: Who | None = None


class Stop(Strict):
    """Measure it no longer."""

    id: Id


class Told(BaseModel):
    """How far a capture is."""

    capture: str
    state: Literal["waits", "measures", "held", "failed"]
    share: float
    line: str | None


class Captures(BaseModel):
    """Captures without what was measured in them, and those that are being measured."""

    captures: list[Thing]
    jobs: list[Told]


@router.get("")
def captures(request: Request, session: Bench) -> Captures:
    """All captures by name, retired ones too."""
    return Captures(
        captures=[as_row(version) for version in session.book.things("captures", retired=True)],
        jobs=[_told(job) for job in _measuring(request).jobs()],
    )


@router.get("/{capture}")
def capture(session: Bench, capture: str) -> Thing:
    """One capture with what was measured in it last."""
    return as_thing(_now(session, capture))


@router.post("")
def add(request: Request, session: Bench, body: AddCapture) -> Thing:
    """Add one, and have it measured."""
    path = capture_at(body.path)
    known = next(
        (one for one in session.book.things("captures") if one.facts["path"] == path), None
    )
    if known is not None and known.id != body.id:
        raise ConflictError(f"{path} is in the book as {known.facts['name']}; measure that again")
    facts = {"name": name_of(path), "path": path} | ({"reel": body.reel} if body.reel else {})
    declared = _declared(session, body, body.reel)
    kept = session.book.keep(
        Writing(body.id, "captures", None, facts, now_utc(), body.who)
    )  # fmt: skip
    if kept.facts["measured_at"] is None and known is None:
        _ask(request, session, kept, declared)
    return as_thing(kept)


@router.post("/{capture}/measure")
def measure(request: Request, session: Bench, capture: str, body: Measure) -> Told:
    """Have it measured, or measured again."""
    now = _now(session, capture)
    if now.facts["path"] is None:
        raise MisuseError("the book does not know where this capture lies; tell its path first")
    capture_at(now.facts["path"])
    return _told(_ask(request, session, now, _declared(session, body, now.facts["reel"])))


@router.post("/{capture}/stop")
def stop(request: Request, session: Bench, capture: str, body: Stop) -> Thing:
    """Measure it no longer; what was found before stays."""
    now = _now(session, capture)
    _measuring(request).stop(capture)
    return as_thing(now)


def _measuring(request: Request) -> Measuring:
    measuring: Measuring = request.app.state.measuring
    return measuring


def _now(session: Session, capture: str) -> Version:
    versions = session.book.versions("captures", capture)
    if not versions:
        raise HTTPException(404, f"the book has no capture {capture!r}")
    return versions[-1]


def _ask(request: Request, session: Session, capture: Version, declared: Declared) -> Job:
    reel = _reel(session, capture.facts["reel"])
    name = str(reel["name"]) if reel else os.path.basename(os.path.dirname(capture.facts["path"]))
    job = Job(capture.id, capture.facts["path"], name, declared)
    _measuring(request).ask(job)
    return job


def _reel(session: Session, reel: str | None) -> dict[str, Any]:
    versions = session.book.versions("reels", reel) if reel else []
    return dict(versions[-1].facts) if versions else {}


def _declared(session: Session, body: Measure, reel: str | None) -> Declared:
    """What is declared with the call, else what the reel's label tells."""
    label = _reel(session, reel)
    speed_ips = body.speed_ips if body.speed_ips is not None else label.get("speed_ips")
    layout = body.format if body.format is not None else label.get("format")
    if body.speed_ips is not None:
        standard_for(body.speed_ips)  # refuses speeds that there are not
    return Declared(
        speed_ips,
        None if body.played is None else equalisation_of(body.played, speed_ips),
        body.level_dbfs,
        body.speed_tone_hz,
        None if layout is None else format_named(layout),
    )


def _told(job: Job) -> Told:
    return Told(capture=job.capture, state=job.state, share=job.share, line=job.line)
