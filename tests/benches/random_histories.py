"""Histories invented by seed, day by day, with their truth; knows nothing of the analysis.

Screws, cards and rooms are moved in daily steps of a uniform distribution, readings carry
Student's t, the technician trims to within a band: none of it is the model that the history fits.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.history import Note, Row

F64 = NDArray[np.float64]

FIRST_DAY = 20_200
HOLD_DB = 0.05
AFTER_DAYS = 2500


@dataclass(slots=True)
class Invented:
    """Rows as a book holds them, and what was true."""

    rows: list[Row]
    notes: list[Note]
    rate_per_day: F64
    """(tracks,), of everything that drifts steadily."""
    leaves_after_days: F64
    """When each track leaves +/- tolerance after the last visit, inf if not in AFTER_DAYS."""
    days: F64
    at: list[str] = field(default_factory=list)


def stamp(day: float) -> str:
    """A UTC time of a day since the first of 1970."""
    return str(np.datetime64(int(day * 86_400_000), "ms")) + "Z"


def visit_days(rng: np.random.Generator, visits: int) -> F64:
    """Irregular: now and then a fortnight with nothing, now and then two in three days."""
    gaps = rng.exponential(rng.uniform(5.0, 16.0), visits)
    gaps[rng.random(visits) < 0.08] += 25.0
    return np.asarray(FIRST_DAY + np.ceil(np.cumsum(gaps + 0.6)))


def one_trimmer(
    rng: np.random.Generator,
    trimmer: str,
    days: F64,
    tracks: int,
    *,
    rate_per_day: F64 | None = None,
    step_db: F64 | float = 0.0,
    tolerance_db: float = 0.25,
    shift_db: F64 | None = None,
    bad_days: bool = True,
    lineups: list[str] | None = None,
) -> Invented:
    """One trimmer of all tracks: steady rates, daily uniform steps of half-width `step_db`.

    `shift_db` (visits, tracks) is what happens to the deck just before each visit, for good.
    """
    rate = np.zeros(tracks) if rate_per_day is None else rate_per_day
    noise = rng.uniform(0.008, 0.025)
    told_error = noise * rng.uniform(0.85, 1.2)
    common = rng.choice([0.005, 0.02, 0.04])
    x = rng.uniform(-0.5, 0.5, tracks)
    rows: list[Row] = []
    today = int(days[0])
    for n, day in enumerate(days):
        for _ in range(int(day) - today):
            x = x + rate + step_db * rng.uniform(-1.0, 1.0, tracks)
        today = int(day)
        x = x + (0.0 if shift_db is None else shift_db[n])
        of_day = rng.normal(0.0, common)
        if bad_days and rng.random() < 0.03:
            of_day += rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 0.8)

        def read(of_day: float = of_day) -> F64:
            wrong = rng.standard_t(6, tracks) * noise / np.sqrt(1.5)
            return np.asarray(x + of_day + wrong)  # noqa: B023 - read at once

        lineup = f"line-up {n}" if lineups is None else lineups[n]
        found = read()
        off = np.abs(found) > HOLD_DB
        aim = rng.uniform(-HOLD_DB, HOLD_DB, tracks)
        x = np.where(off, aim - of_day, x)
        for kind, reading in (("found", found), ("left", read())):
            rows += [Row(lineup, stamp(day), trimmer, t + 1, kind, float(reading[t]), told_error)
                     for t in range(tracks)]  # fmt: skip
    leaves = np.full(tracks, np.inf)
    for after in range(1, AFTER_DAYS + 1):
        x = x + rate + step_db * rng.uniform(-1.0, 1.0, tracks)
        leaves = np.where(np.isinf(leaves) & (np.abs(x) > tolerance_db), float(after), leaves)
    return Invented(rows, [], rate, leaves, days, [stamp(d) for d in days])


def drifting(seed: int) -> Invented:
    """A deck of which half of the tracks drift, each at a rate of its own, and all wander."""
    rng = np.random.default_rng([seed, 51])
    tracks = int(rng.choice([2, 8, 16]))
    days = visit_days(rng, int(rng.integers(12, 61)))
    rate = rng.laplace(0.0, 0.0006, tracks) * (rng.random(tracks) < 0.5)
    step = rng.uniform(0.0, 0.01, tracks)
    return one_trimmer(rng, "reproduce_level", days, tracks, rate_per_day=rate, step_db=step)


TRIMMERS = ("reproduce_level", "reproduce_high", "record_level", "record_high", "bias")


def deck(seed: int, plant: str) -> tuple[Invented, dict[str, object]]:
    """A whole deck with one thing planted: nothing, wear, dirt, relap or card; and where it is."""
    rng = np.random.default_rng([seed, 52])
    tracks = int(rng.choice([8, 16, 24]))
    days = visit_days(rng, int(rng.integers(25, 70)))
    visits, shape = len(days), (len(days), tracks)
    when = int(rng.integers(6, visits - 6))
    track = int(rng.integers(0, tracks))
    planted: dict[str, object] = {"at": stamp(days[when]), "track": track + 1, "tracks": ()}
    rows: list[Row] = []
    notes: list[Note] = []
    moved = str(rng.choice(["reproduce_level", "record_level", "bias"]))
    for trimmer in TRIMMERS:
        rate, shift, lost = np.zeros(tracks), np.zeros(shape), np.zeros(shape)
        if plant == "wear" and trimmer == "reproduce_high":
            span = days[-1] - days[0]
            rate = np.full(tracks, -rng.uniform(0.8, 2.0) / span) * rng.uniform(0.8, 1.2, tracks)
        if plant == "card" and trimmer == moved:
            planted["trimmer"] = moved
            rate[track] = rng.choice([-1, 1]) * rng.uniform(0.8, 2.0) / (days[-1] - days[0])
        if plant == "relap" and trimmer in ("reproduce_high", "reproduce_level"):
            gain = rng.uniform(0.8, 2.0) if trimmer == "reproduce_high" else 0.0
            shift[when] = gain + rng.uniform(-0.3, 0.3, tracks)
        if plant == "dirt" and trimmer in ("reproduce_high", "record_high"):
            few = bool(rng.random() < 0.4)
            first = int(rng.integers(0, tracks - 4)) if trimmer == "reproduce_high" else 0
            where = slice(first, first + 4) if few and trimmer == "reproduce_high" else slice(None)
            if trimmer == "reproduce_high" or not planted["tracks"]:
                lost[when, where] = -rng.uniform(0.8, 2.0) * rng.uniform(
                    0.8, 1.2, lost[0, where].shape
                )
                if trimmer == "reproduce_high" and few:
                    planted["tracks"] = tuple(range(first + 1, first + 5))
        one = one_trimmer(rng, trimmer, days, tracks, rate_per_day=rate, shift_db=shift,
                          step_db=rng.uniform(0.0, 0.004, tracks), bad_days=False)  # fmt: skip
        rows += _dirty(one.rows, lost, tracks)
    if plant == "relap":
        notes.append(Note(stamp(days[when] - 2.0), "relapped", "reproduce head"))
    return Invented(rows, notes, np.zeros(tracks), np.zeros(tracks), days), planted


def _dirty(rows: list[Row], lost_db: F64, tracks: int) -> list[Row]:
    """Rows as found with what dirt took: it is cleaned off before anything is trimmed."""
    found = []
    for n, row in enumerate(rows):
        visit, kind = divmod(n, 2 * tracks)
        extra = lost_db[visit, (row.track or 1) - 1] if kind < tracks else 0.0
        found.append(replace(row, reading=(row.reading or 0.0) + float(extra)))
    return found
