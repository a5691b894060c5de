"""As found and as left of a deck's newest line-ups, all tracks at once, for a history."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from fluxbench.book._packs import OFF_TARGET
from fluxbench.book._tables import CORRECTIONS, LINEUPS, PACKS


@dataclass(frozen=True, slots=True)
class Visit:
    """A line-up of a deck: when it began, with which calibration tape and batch of stock."""

    lineup: str
    at: str
    tape: str | None
    batch: str | None


@dataclass(frozen=True, slots=True)
class Pack:
    """Readings of one trimmer off their targets, taken together at one line-up, in order."""

    lineup: str
    trimmer: str
    kind: str
    """found or left."""
    unit: str
    """dB or arcmin."""
    track: Sequence[int | None]
    """From 1; None for a stack."""
    reading: Sequence[float | None]
    """None where not valid."""
    error: Sequence[float | None]


def visits_of(
    connection: Connection, deck: str | None, speed_ips: float | None, newest: int
) -> list[Visit]:
    """The newest line-ups of a deck (None: of those that name none), oldest first.

    One speed's alone, since each has trimmers of its own; None: that of the newest line-up.
    """
    table = LINEUPS.c
    wanted = [table.deck == deck, table.kind == "line-up"]
    if speed_ips is None:
        newest_speed = select(table.speed_ips).where(*wanted).order_by(table.begun_at.desc())
        speed_ips = connection.scalar(newest_speed.limit(1))
    wanted.append(table.speed_ips == speed_ips)
    rows = (
        select(table.id, table.begun_at, table.tape, table.batch)
        .where(*wanted)
        .order_by(table.begun_at.desc())
        .limit(newest)
    )
    return [Visit(*row) for row in reversed(list(connection.execute(rows)))]


def packs_at(
    connection: Connection, visits: Sequence[Visit], trimmers: Sequence[str]
) -> list[Pack]:
    """As found and as left of these trimmers at these visits, in the order of reading."""
    at = PACKS.c.lineup.in_([v.lineup for v in visits]), PACKS.c.trimmer.in_(trimmers)
    named = PACKS.c.lineup, PACKS.c.trimmer, PACKS.c.kind, PACKS.c.unit, PACKS.c.told
    rows = connection.execute(select(*named).where(*at).order_by(PACKS.c.number)).all()
    corrections = select(CORRECTIONS).order_by(CORRECTIONS.c.row)
    newest = {one.of: one for one in connection.execute(corrections)}
    packs = []
    for lineup, trimmer, kind, unit, told in rows:
        for n in [n for n, row in enumerate(told["row"]) if row in newest] if newest else ():
            counts = newest[told["row"][n]]
            told["reading"][n], told["error"][n] = counts.reading, counts.error
        cells = told["track"], told["reading"], told["error"]
        packs.append(Pack(lineup, trimmer, kind, OFF_TARGET[unit], *cells))
    return packs


def trimmers_told(connection: Connection, visits: Sequence[Visit]) -> list[tuple[str, str, int]]:
    """Trimmers that were read off their targets at these visits: name, unit, tracks."""
    told: dict[str, tuple[str, str, int]] = {}
    rows = (
        select(PACKS.c.trimmer, PACKS.c.unit, func.max(PACKS.c.tracks))
        .where(PACKS.c.lineup.in_([v.lineup for v in visits]), PACKS.c.tracks.is_not(None))
        .group_by(PACKS.c.trimmer, PACKS.c.unit)
        .order_by(func.min(PACKS.c.number))
    )
    for trimmer, unit, tracks in connection.execute(rows):
        told.setdefault(trimmer, (trimmer, OFF_TARGET[unit], tracks))
    return list(told.values())
