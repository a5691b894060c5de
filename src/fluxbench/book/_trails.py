"""As found and as left of a deck's newest line-ups, all tracks at once: what a history is made of.

Read past the object layer, since a history is tens of thousands of rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, func, select, text

from fluxbench.book._tables import CORRECTIONS, LINEUPS, READINGS

OFF_TARGET = {"dB off target": "dB", "arcmin": "arcmin"}
"""What a history calls the units of readings off their targets."""
MOST_TRACKS = 64


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
    connection: Connection, visits: Sequence[Visit], deck: str | None, trimmer: str | None
) -> list[TrailRow]:
    """Readings off their targets at visits of a deck, in the order in which they were taken."""
    if not visits:
        return []
    where, asked = _told_at(visits) if trimmer is None else _told_of(trimmer, deck, visits)
    asked |= {"units": list(OFF_TARGET)}
    newest = {
        row.of: (row.reading, row.error)
        for row in connection.execute(select(CORRECTIONS).order_by(CORRECTIONS.c.row))
    }
    statement = text(
        "SELECT row, lineup, trimmer, track, kind, reading, error,"
        " CASE unit WHEN 'dB off target' THEN 'dB' ELSE unit END FROM readings"
        f" WHERE {where} AND kind IN ('found', 'left') AND unit IN :units ORDER BY row"
    ).bindparams(*(bindparam(n, expanding=True) for n, v in asked.items() if isinstance(v, list)))
    cursor: Any = connection.execute(statement, asked).cursor  # plain tuples: twice as fast
    rows = cursor.fetchall()
    if trimmer is not None:
        lineups = {v.lineup for v in visits}
        rows = [row for row in rows if row[1] in lineups]
    if not newest:
        return [row[1:] for row in rows]
    return [
        (at, name, track, kind, *newest.get(row, (reading, error)), unit)
        for row, at, name, track, kind, reading, error, unit in rows
    ]


def _told_at(visits: Sequence[Visit]) -> tuple[str, dict[str, object]]:
    return "lineup IN :lineups", {"lineups": [v.lineup for v in visits]}


def _told_of(
    trimmer: str, deck: str | None, visits: Sequence[Visit]
) -> tuple[str, dict[str, object]]:
    """Track by track, so that the index leads to one trimmer's readings since the first visit."""
    given: dict[str, object] = {
        "trimmer": trimmer,
        "since": visits[0].at,
        "tracks": list(range(1, MOST_TRACKS + 1)),
    }
    here = "deck IS NULL"
    if deck is not None:
        here, given["deck"] = "deck = :deck", deck
    ours = f"{here} AND trimmer = :trimmer"
    one = f"{ours} AND track IN :tracks AND at >= :since"
    whole = f"{ours} AND track IS NULL AND at >= :since"
    return (
        f"row IN (SELECT row FROM readings WHERE {one}"
        f" UNION ALL SELECT row FROM readings WHERE {whole})"
    ), given


def trimmers_told(connection: Connection, visits: Sequence[Visit]) -> list[tuple[str, str, int]]:
    """Trimmers that were read off their targets at these visits: name, unit, tracks."""
    told: dict[str, tuple[str, str, int]] = {}
    rows = (
        select(READINGS.c.trimmer, READINGS.c.unit, func.max(READINGS.c.track))
        .where(
            READINGS.c.lineup.in_([v.lineup for v in visits]),
            READINGS.c.kind.in_(("found", "left")),
            READINGS.c.unit.in_(list(OFF_TARGET)),
            READINGS.c.reading.is_not(None),
        )
        .group_by(READINGS.c.trimmer, READINGS.c.unit)
        .order_by(func.min(READINGS.c.row))
    )
    for trimmer, unit, tracks in connection.execute(rows):
        told.setdefault(trimmer, (trimmer, OFF_TARGET[unit], tracks or 1))
    return list(told.values())
