"""Readings over time, and the corrections that count instead of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, insert, select

from fluxbench.base import ConflictError, MisuseError
from fluxbench.book._tables import COMMANDS, CORRECTIONS, READINGS


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One reading of one trimmer; reading and error are in `unit`, None where not valid."""

    row: int
    """The number by which a correction names it."""
    at: str
    """UTC, ISO 8601."""
    lineup: str
    stage: str
    trimmer: str
    track: int | None
    """From 1; None for a stack."""
    kind: str
    """found, left or taken."""
    reading: float | None
    error: float | None
    unit: str
    speed_ips: float | None
    corrected: Mapping[str, Any] | None = None
    """Of a reading that was corrected: `was` and `was_error`, `at`, `who`, `why`."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What counts instead of a reading (None: nothing does), with an id of the client's making."""

    id: str
    of: int
    """The row of the reading."""
    at: str
    why: str
    reading: float | None
    error: float | None = None
    who: str | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Which readings; None is any, of `deck` and `track` none."""

    deck: str | None
    stage: str | None
    trimmer: str
    track: int | None
    since: str | None
    until: str | None
    speed_ips: float | None


_COLUMNS = (
    READINGS.c.row, READINGS.c.at, READINGS.c.lineup, READINGS.c.stage, READINGS.c.trimmer,
    READINGS.c.track, READINGS.c.kind, READINGS.c.reading, READINGS.c.error, READINGS.c.unit,
    READINGS.c.speed_ips,
)  # fmt: skip


def history(connection: Connection, asked: Asked) -> list[HistoryRow]:
    """The readings asked for, oldest first."""
    wanted = [
        READINGS.c.deck == asked.deck,
        READINGS.c.trimmer == asked.trimmer,
        READINGS.c.track == asked.track,
    ]
    if asked.since is not None:
        wanted.append(READINGS.c.at >= asked.since)
    if asked.until is not None:
        wanted.append(READINGS.c.at < asked.until)
    if asked.stage is not None:
        wanted.append(READINGS.c.stage == asked.stage)
    if asked.speed_ips is not None:
        wanted.append(READINGS.c.speed_ips == asked.speed_ips)
    rows = select(*_COLUMNS).where(*wanted).order_by(READINGS.c.at, READINGS.c.row)
    return _rows(connection, rows)


def readings_of(connection: Connection, lineup: str) -> list[HistoryRow]:
    """All readings of a line-up, in the order in which they were taken."""
    rows = select(*_COLUMNS).where(READINGS.c.lineup == lineup).order_by(READINGS.c.row)
    return _rows(connection, rows)


def correct(connection: Connection, correction: Correction) -> HistoryRow:
    """Write a correction, once; the reading with it. MisuseError if there is no such reading."""
    asked = {"of": correction.of, "reading": correction.reading, "error": correction.error}
    done = connection.execute(
        select(COMMANDS.c.answer).where(COMMANDS.c.id == correction.id)
    ).scalar_one_or_none()
    if done is not None and done.get("asked") != asked:
        raise ConflictError(f"the id {correction.id} was used for something else; make a new one")
    known = select(READINGS.c.row).where(READINGS.c.row == correction.of)
    if connection.execute(known).first() is None:
        raise MisuseError(f"the book has no reading {correction.of}")
    if done is None:
        row = {**asked, "at": correction.at, "who": correction.who, "why": correction.why}
        connection.execute(insert(CORRECTIONS).values(row))
        connection.execute(
            insert(COMMANDS).values(id=correction.id, at=correction.at, answer={"asked": asked})
        )
    return _rows(connection, select(*_COLUMNS).where(READINGS.c.row == correction.of))[0]


def _rows(connection: Connection, rows: Select[Any]) -> list[HistoryRow]:
    """The rows with their newest corrections, of which a book has few."""
    newest: dict[int, dict[str, Any]] = {
        row["of"]: dict(row)
        for row in connection.execute(select(CORRECTIONS).order_by(CORRECTIONS.c.row)).mappings()
    }
    cursor: Any = connection.execute(rows).cursor  # plain tuples: a history has tens of thousands
    return [
        HistoryRow(*row) if row[0] not in newest else _corrected(row, newest[row[0]])
        for row in cursor.fetchall()
    ]


def _corrected(row: Any, newest: Mapping[str, Any]) -> HistoryRow:
    told = dict(zip((c.name for c in _COLUMNS), row, strict=True))
    corrected = {
        "was": told["reading"],
        "was_error": told["error"],
        **{name: newest[name] for name in ("at", "who", "why")},
    }
    told |= {"reading": newest["reading"], "error": newest["error"], "corrected": corrected}
    return HistoryRow(**told)
