"""As found and as left of a deck's newest line-ups, all tracks at once: what a history is made of.

Read past the object layer, since a history is tens of thousands of rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, select, text

from fluxbench.book._tables import CORRECTIONS, LINEUPS

OFF_TARGET = {"dB off target": "dB", "arcmin": "arcmin"}


@dataclass(frozen=True, slots=True)
class Visit:
    """A line-up of a deck: when it began, with which calibration tape and batch of stock."""

    lineup: str
    at: str
    tape: str | None
    batch: str | None


TrailRow = tuple[str, str, int | None, str, float | None, float | None, str]
"""Line-up, trimmer, track, found or left, reading off target, error, unit."""


def visits_of(
    connection: Connection, deck: str | None, speed_ips: float | None, newest: int
) -> list[Visit]:
    """The newest line-ups of a deck (None: of those that name none), oldest first."""
    table = LINEUPS.c
    wanted = [table.deck == deck, table.kind == "line-up"]
    if speed_ips is not None:
        wanted.append(table.speed_ips == speed_ips)
    rows = (
        select(table.id, table.begun_at, table.tape, table.batch)
        .where(*wanted)
        .order_by(table.begun_at.desc())
        .limit(newest)
    )
    return [Visit(*row) for row in reversed(list(connection.execute(rows)))]


def trail_rows(
    connection: Connection, lineups: Sequence[str], trimmer: str | None
) -> list[TrailRow]:
    """Readings off their targets of these line-ups, in the order in which they were taken."""
    if not lineups:
        return []
    where = "lineup IN :lineups AND kind IN ('found', 'left') AND unit IN :units"
    asked: dict[str, object] = {"lineups": list(lineups), "units": list(OFF_TARGET)}
    if trimmer is not None:
        where += " AND trimmer = :trimmer"
        asked["trimmer"] = trimmer
    statement = text(
        "SELECT row, lineup, trimmer, track, kind, reading, error, unit FROM readings"
        f" WHERE {where} ORDER BY row"
    ).bindparams(bindparam("lineups", expanding=True), bindparam("units", expanding=True))
    newest = {
        row.of: (row.reading, row.error)
        for row in connection.execute(select(CORRECTIONS).order_by(CORRECTIONS.c.row))
    }
    cursor: Any = connection.execute(statement, asked).cursor  # plain tuples: twice as fast
    rows = cursor.fetchall()
    if not newest:
        return [(*told, OFF_TARGET[unit]) for _, *told, unit in rows]
    return [
        (at, name, track, kind, *newest.get(row, (reading, error)), OFF_TARGET[unit])
        for row, at, name, track, kind, reading, error, unit in rows
    ]
