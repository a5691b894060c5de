"""Readings off target, packed as they were written: a history opens hundreds, not ten thousands."""

from itertools import groupby
from typing import Any

from sqlalchemy import Connection, insert, select

from fluxbench.book._tables import LINEUPS, PACKS, READINGS

OFF_TARGET = {"dB off target": "dB", "arcmin": "arcmin"}
"""What a history calls the units of readings off their targets."""
KINDS = ("found", "left")

_KEY = (READINGS.c.trimmer, READINGS.c.kind, READINGS.c.unit)
_TOLD = (READINGS.c.row, READINGS.c.track, READINGS.c.reading, READINGS.c.error)


def pack(connection: Connection, lineup: str, since_seq: int = 0) -> None:
    """Pack the readings of a line-up from that number of the journal on."""
    readings = (
        select(*_KEY, *_TOLD)
        .where(
            READINGS.c.lineup == lineup,
            READINGS.c.seq >= since_seq,
            READINGS.c.kind.in_(KINDS),
            READINGS.c.unit.in_(list(OFF_TARGET)),
        )
        .order_by(READINGS.c.row)
    )
    packed: list[dict[str, Any]] = []
    for (trimmer, kind, unit), rows in groupby(connection.execute(readings), lambda r: r[:3]):
        columns = list(zip(*(row[3:] for row in rows), strict=True))
        told = {column.name: list(cells) for column, cells in zip(_TOLD, columns, strict=True)}
        valid = [
            t or 1 for t, r in zip(told["track"], told["reading"], strict=True) if r is not None
        ]
        packed.append({
            "lineup": lineup, "trimmer": trimmer, "kind": kind, "unit": unit,
            "tracks": max(valid, default=None), "told": told,
        })  # fmt: skip
    if packed:
        connection.execute(insert(PACKS), packed)


def pack_all(connection: Connection) -> None:
    """Pack the readings of all line-ups of a book that has none packed."""
    oldest_first = select(LINEUPS.c.id).order_by(LINEUPS.c.begun_at, LINEUPS.c.id)
    for lineup in connection.execute(oldest_first).scalars().all():
        pack(connection, lineup)
