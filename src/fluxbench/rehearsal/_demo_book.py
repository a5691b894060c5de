"""The demo book: an invented studio, three decks, two years of line-ups, four things planted."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.book import Book, LineUpRow, Writing
from fluxbench.deck import PracticeDeck
from fluxbench.lineup import plan_from_state
from fluxbench.rehearsal._demo_deck import Changes, DemoDeck
from fluxbench.rehearsal._demo_lineup import Writer, line_up

BEGIN = datetime(2024, 1, 8, 8, 30, tzinfo=UTC)
DAYS = 728
SPEED_IPS = 15.0
STOCK = "even"
LAST_WORN_UM = 0.9
"""How far a worn head had moved away before its relap."""
RELAP_AT = 0.62
CARD_TRACK = 5
CARD_DB_PER_DAY = -0.0016
CHANGE_BATCH_AT = 0.45
SECOND_BATCH = (0.3, 0.25)
"""Sensitivity and bias of the second batch, re the first, in dB."""
SECOND_TAPE = (0.12, -0.2)
"""What the second calibration tape has beside its sheet, level and high end, in dB."""


@dataclass(frozen=True, slots=True)
class Told:
    """One deck of the studio: its plate, how often it is seen to, and what is planted on it."""

    id: str
    name: str
    tracks: int
    format: str
    every_days: float
    worn: bool = False
    card: bool = False
    dirty: bool = False


DECKS = (
    Told("demo-deck-large", "Large room, 24 tracks", 24, "2-inch 24-track", 13.0, worn=True),
    Told("demo-deck-small", "Small room, 8 tracks", 8, "1-inch 8-track", 15.0, card=True,
         dirty=True),
    Told("demo-deck-mixing", "Mixing, 2 tracks", 2, "1/4-inch 2-track European", 11.0),
)  # fmt: skip


def write_demo_book(path: Path, seed: int = 1) -> int:
    """Write the demo book; how many line-ups it has. MisuseError if the file is there already.

    Everything is read from the practice deck's physics with a bench's spread, and written as a
    bench writes it: the same seed, the same readings.
    """
    if path.exists():
        raise MisuseError(f"{path} is there already; give the demo book a file of its own")
    book = Book(path)
    try:
        _things(book)
        return sum(_years(book, told, seed) for told in DECKS)
    finally:
        book.close()


def _years(book: Book, told: Told, seed: int) -> int:
    rng = np.random.default_rng([seed, told.tracks, 79])
    deck = DemoDeck(told.tracks, SPEED_IPS, STOCK, 100 * seed + told.tracks)
    practice = PracticeDeck(told.tracks, SPEED_IPS, seed)
    shown = {tape: practice.load(tape) for tape in ("calibration", "stock")}
    shown = {tape: {**state, "name": told.name} for tape, state in shown.items()}
    plan = plan_from_state(shown["calibration"], shown["stock"])
    days = list(_visits(rng, told.every_days))
    dirty_at = int(0.7 * len(days))
    before = 0.0
    for n, day in enumerate(days):
        deck.goes_by(day - before)
        changes, clean = _changes(rng, told, day, before, n == dirty_at)
        labels = _labels(n, day)
        deck.begin(replace(changes, tape_db=SECOND_TAPE if labels[0] else (0.0, 0.0)))
        stamp = _clock(BEGIN + timedelta(days=day))
        row = LineUpRow(
            f"{told.id}-{n:03d}", "line-up", stamp(0.0), shown,
            deck=told.id, tape=f"demo-tape-{'b' if labels[0] else 'a'}",
            batch=f"demo-batch-{2 if labels[1] else 1}", speed_ips=SPEED_IPS,
        )  # fmt: skip
        writer = Writer(row, stamp)
        line_up(writer, deck, plan, clean)
        writer.close(book)
        before = day
    _notes(book, told, days, dirty_at)
    return len(days)


def _visits(rng: np.random.Generator, every_days: float) -> Iterator[float]:
    """Irregular, and nothing in August."""
    day = 0.0
    while day < DAYS:
        month = (BEGIN + timedelta(days=day)).month
        if month != 8:
            yield round(day)
        day += max(3.0, every_days * float(rng.uniform(0.5, 1.5)))


def _labels(n: int, day: float) -> tuple[bool, bool]:
    """Whether the second calibration tape was used, and the second batch."""
    return n % 6 == 5, day > CHANGE_BATCH_AT * DAYS


def _changes(
    rng: np.random.Generator, told: Told, day: float, before: float, dirty: bool
) -> tuple[Changes, bool]:
    """What has happened since the visit before, and whether the path is cleaned this time."""
    relap = RELAP_AT * DAYS
    changes = Changes()
    if told.worn:
        changes.worn_um = LAST_WORN_UM * min(day, relap) / relap if day <= relap else 0.0
        if before <= relap < day:
            changes.efficiency_db = rng.uniform(-0.3, 0.3, told.tracks)
            changes.moved = {"reproduce_azimuth": np.array([0.5])}
    if told.card:
        moved = np.zeros(told.tracks)
        moved[CARD_TRACK - 1] = CARD_DB_PER_DAY * (day - before)
        changes.moved = {"reproduce_level": moved}
    if told.dirty and dirty:
        changes.dirt_um = 1.2
    if day > CHANGE_BATCH_AT * DAYS:
        changes.sensitivity_db, changes.bias_db = SECOND_BATCH
    return changes, told.dirty and dirty


def _clock(begin: datetime) -> Callable[[float], str]:
    def stamp(t_s: float) -> str:
        at = begin + timedelta(seconds=t_s)
        return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    return stamp


def _things(book: Book) -> None:
    """Decks, heads, the stock with two batches, two calibration tapes."""
    for told in DECKS:
        _keep(book, "decks", told.id, {
            "name": told.name, "format": told.format, "speeds_ips": [SPEED_IPS],
            "equalisation": "IEC1", "operating_fluxivity_nwb_per_m": 355.0,
        })  # fmt: skip
        _keep(book, "heads", f"{told.id}-reproduce", {
            "name": "reproduce head", "deck": told.id, "function": "reproduce",
        })  # fmt: skip
    _keep(book, "stocks", "demo-stock", {"name": "Even", "coating_um": 10.0})
    for n in (1, 2):
        _keep(book, "batches", f"demo-batch-{n}", {"name": f"Even, box {n}", "stock": "demo-stock"})
    for letter in "ab":
        _keep(book, "tapes", f"demo-tape-{letter}", {
            "name": f"Calibration tape {letter.upper()}", "speed_ips": SPEED_IPS,
            "fluxivity_nwb_per_m": 250.0, "t2_us": 35.0, "fringing_compensated": "no",
        })  # fmt: skip


def _notes(book: Book, told: Told, days: list[float], dirty_at: int) -> None:
    if told.worn:
        on = _date(RELAP_AT * DAYS)
        _keep(book, "notes", f"{told.id}-relap", {
            "name": "Reproduce head relapped", "deck": told.id, "on": on, "kind": "relapped",
            "head": f"{told.id}-reproduce",
        })  # fmt: skip
        book.keep(Writing("demo-relap", "heads", f"{told.id}-reproduce", {"relapped": [on]},
                          _clock(BEGIN + timedelta(days=RELAP_AT * DAYS))(0.0)))  # fmt: skip
    if told.dirty:
        _keep(book, "notes", f"{told.id}-cleaned", {
            "name": "Heads and guides cleaned", "deck": told.id, "on": _date(days[dirty_at]),
            "kind": "cleaned",
        })  # fmt: skip


def _date(day: float) -> str:
    return (BEGIN + timedelta(days=day)).date().isoformat()


def _keep(book: Book, kind: str, name: str, facts: dict[str, Any]) -> None:
    book.keep(Writing(name, kind, None, facts, _clock(BEGIN)(0.0)))
