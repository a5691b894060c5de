"""Things by version: nothing is overwritten, the newest row of an id is what it is now."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, func, insert, select

from fluxbench.base import ConflictError, MisuseError
from fluxbench.book._kinds import Facts, assumed_of, checked, kind_named
from fluxbench.book._tables import COMMANDS, LINEUPS, THINGS


@dataclass(frozen=True, slots=True)
class Version:
    """What a thing was from a time on. `row` grows with every version of all things."""

    row: int
    id: str
    kind: str
    at: str
    """UTC, ISO 8601."""
    who: str | None
    why: str | None
    facts: Facts
    """As told, None where nothing is."""
    retired: bool

    @property
    def assumed(self) -> dict[str, Any]:
        """What stands for facts that nobody has told, until it is confirmed."""
        return assumed_of(self.kind, self.facts)

    @property
    def known(self) -> dict[str, Any]:
        """The facts, with what is assumed where nothing is told."""
        return {**self.facts, **self.assumed}

    @property
    def snapshot(self) -> dict[str, Any]:
        """What a line-up keeps of a thing."""
        return {"id": self.id, "row": self.row, "facts": dict(self.facts), "assumed": self.assumed}


@dataclass(frozen=True, slots=True)
class Writing:
    """One addition, edit or retirement, with an id of the client's making."""

    id: str
    kind: str
    thing: str | None
    """None adds one, whose id is that of the writing."""
    facts: Facts
    """Of an addition all that is told, of an edit what changes; None unsays a fact."""
    at: str
    who: str | None = None
    why: str | None = None
    retired: bool | None = None
    """None leaves it as it is."""
    after: int | None = None
    """The row that was changed, if it matters that nobody else has changed it since."""


def write(connection: Connection, writing: Writing) -> Version:
    """Write a version, once: who sends it again gets what was written the first time.

    MisuseError for facts that cannot be and things that are not there, ConflictError for an id
    that was used for something else and for a thing that has changed since.
    """
    done = connection.execute(
        select(COMMANDS.c.answer).where(COMMANDS.c.id == writing.id)
    ).scalar_one_or_none()
    if done is not None:
        return _again(connection, writing, done)
    before = None if writing.thing is None else _now(connection, writing.kind, writing.thing)
    if before is not None and writing.after not in (None, before.row):
        raise ConflictError(
            f"this {kind_named(writing.kind).one} was changed meanwhile; read it and change it anew"
        )
    if before is None and any_of(connection, writing.id):
        raise ConflictError(f"the id {writing.id} stands for another thing; make a new one")
    merged = {**(before.facts if before else {}), **writing.facts}
    facts = checked(writing.kind, {k: v for k, v in merged.items() if v is not None})
    _check_belongs(connection, writing.kind, facts, {} if before is None else before.facts)
    retired = before.retired if before else False
    row = {
        "id": writing.id if before is None else before.id,
        "kind": writing.kind,
        "at": writing.at,
        "who": writing.who,
        "why": writing.why,
        "facts": facts,
        "retired": retired if writing.retired is None else writing.retired,
    }
    key = connection.execute(insert(THINGS).values(row)).inserted_primary_key
    number = int(key[0]) if key is not None else 0
    answer = {"row": number, "asked": _asked(writing)}
    connection.execute(insert(COMMANDS).values(id=writing.id, at=writing.at, answer=answer))
    return Version(row=number, **row)  # type: ignore[arg-type]


LONG = 65_536
"""Characters of a text that is not kept once more beside its thing."""


def _asked(writing: Writing) -> dict[str, Any]:
    """What makes two writings the same; of a picture its hash is enough."""
    told = asdict(writing)
    asked = {name: told[name] for name in ("kind", "thing", "facts", "retired")}
    asked["facts"] = {name: _short(fact) for name, fact in asked["facts"].items()}
    return asked


def _short(fact: Any) -> Any:
    if not isinstance(fact, str) or len(fact) <= LONG:
        return fact
    return {"sha256": hashlib.sha256(fact.encode()).hexdigest()}


def _again(connection: Connection, writing: Writing, done: Mapping[str, Any]) -> Version:
    if done.get("asked") != _asked(writing):
        raise ConflictError(f"the id {writing.id} was used for something else; make a new one")
    row = connection.execute(select(THINGS).where(THINGS.c.row == done["row"])).mappings().one()
    return Version(**row)


def any_of(connection: Connection, thing: str) -> bool:
    """Whether there is such a thing, of any kind."""
    return connection.execute(select(THINGS.c.row).where(THINGS.c.id == thing)).first() is not None


def _now(connection: Connection, kind: str, thing: str) -> Version:
    found = versions(connection, kind, thing)
    if not found:
        raise MisuseError(f"the book has no {kind_named(kind).one} {thing!r}")
    return found[-1]


def _check_belongs(connection: Connection, kind: str, facts: Facts, before: Facts) -> None:
    """What a thing names is there; what it named before may be whatever it is."""
    belongs = kind_named(kind).belongs
    for field, other in belongs.items():
        named = facts.get(field)
        if named is None or named == before.get(field):
            continue
        if not versions(connection, other, named):
            raise MisuseError(f"{field}: the book has no {kind_named(other).one} {named!r}")


def versions(connection: Connection, kind: str, thing: str) -> list[Version]:
    """All versions of a thing, oldest first; none if there is no such thing."""
    rows = select(THINGS).where(THINGS.c.id == thing, THINGS.c.kind == kind).order_by(THINGS.c.row)
    return [Version(**row) for row in connection.execute(rows).mappings()]


def newest(connection: Connection, kind: str, *, retired: bool) -> list[Version]:
    """Things of a kind as they are now, in the order of their names; retired ones on demand."""
    last = (
        select(func.max(THINGS.c.row)).where(THINGS.c.kind == kind).group_by(THINGS.c.id)
    ).scalar_subquery()
    rows = select(THINGS).where(THINGS.c.row.in_(last))
    if not retired:
        rows = rows.where(THINGS.c.retired.is_(False))
    found = [Version(**row) for row in connection.execute(rows).mappings()]
    return sorted(found, key=lambda v: (str(v.facts["name"]).casefold(), v.row))


PLAY_IT = ("line-up", "working copy")
"""Kinds of line-ups that play the calibration tape."""


def uses_of(connection: Connection, tapes: Sequence[Version]) -> dict[str, int]:
    """How often each calibration tape was used: before the book, and by line-ups that name it."""
    ids = [tape.id for tape in tapes]
    rows = (
        select(LINEUPS.c.tape, func.count())
        .where(LINEUPS.c.tape.in_(ids), LINEUPS.c.kind.in_(PLAY_IT))
        .group_by(LINEUPS.c.tape)
    )
    counted = {str(tape): int(n) for tape, n in connection.execute(rows)}
    return {t.id: counted.get(t.id, 0) + int(t.facts.get("uses_before") or 0) for t in tapes}
