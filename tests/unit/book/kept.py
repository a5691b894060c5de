"""A small book with something of everything in it."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from fluxbench.book import (
    Book,
    Correction,
    Entry,
    LineUpRow,
    Page,
    Place,
    Reading,
    Version,
    Writing,
)
from fluxbench.book._open import engine_for
from fluxbench.book._tables import METADATA
from fluxbench.lineup import Kept

AT = "2026-01-01T00:00:00.000Z"
DECK: Mapping[str, Any] = {
    "name": "Room 1",
    "format": "2-inch 24-track",
    "speeds_ips": [15, 30],
    "equalisation": "IEC1",
    "operating_fluxivity_nwb_per_m": 355,
}
TAPE: Mapping[str, Any] = {
    "name": "Two fifty",
    "speed_ips": 15,
    "fluxivity_nwb_per_m": 250,
    "t2_us": 35,
    "sections": [{"frequency_hz": 1000, "seconds": 30}],
}


def keep(book: Book, key: str, kind: str, facts: Mapping[str, Any], **more: Any) -> Version:
    """Write a version of a thing."""
    return book.keep(Writing(key, kind, more.pop("thing", None), facts, AT, **more))


def line_up(
    book: Book, name: str, at: str, readings: list[Reading], deck: str | None = "d1", **more: Any
) -> None:
    """Write a line-up with readings, all at one time."""
    row = LineUpRow(
        name, "line-up", at, {"stock": {"tracks": 2, "speed_ips": 15.0}}, deck=deck,
        **{"speed_ips": 15.0, **more},
    )  # fmt: skip
    entry = Entry(0, name, at, 1.5, "taken", {"trimmer": "bias", "what": '=1+2, "quoted"'})
    steps = [Kept(0, "ask", None, {"asks": 1}), Kept(1, "peak", [0, -1.5], {}, is_part=True)]
    book.write(Page(
        lineup=name, begun=row, entries=[entry], steps=steps, readings=readings,
        answers={f"c-{name}": {"done": True}}, at=at, closed=True, stopped="=enough",
    ))  # fmt: skip


def taken(reading: float | None, track: int | None = 2, **more: Any) -> Reading:
    """A reading of bias."""
    told = {"stage": "bias", "trimmer": "bias", "kind": "taken", "unit": "dB over-bias", **more}
    return Reading(0, track=track, reading=reading, error=0.02, **told)


def fill(place: Place) -> None:
    """Make a book with something of everything in it."""
    book = Book(place)
    try:
        keep(book, "d1", "decks", DECK, who="me", why="-new")
        keep(book, "t1", "tapes", TAPE)
        keep(book, "e1", "decks", {"remark": "@home\r\n'quoted'"}, thing="d1")
        line_up(book, "one", "2026-01-02T00:00:00.000Z", [taken(2.9), taken(None, 1)], tape="t1")
        line_up(book, "two", "2026-02-02T00:00:00.000Z", [taken(-3.0)], deck=None)
        row = book.readings_of("one")[0].row
        book.correct(Correction("k1", row, AT, "read aloud wrongly", 2.7, 0.02, "me"))
    finally:
        book.close()


def told(place: Place, table: str) -> list[dict[str, Any]]:
    """All rows of a table, by its key."""
    engine, kept = engine_for(place, writes=False), METADATA.tables[table]
    try:
        with engine.connect() as connection:
            rows = connection.execute(select(kept).order_by(*kept.primary_key.columns))
            return [dict(row) for row in rows.mappings()]
    finally:
        engine.dispose()


def all_told(place: Place) -> dict[str, list[dict[str, Any]]]:
    """All rows of all tables."""
    return {table: told(place, table) for table in METADATA.tables}
