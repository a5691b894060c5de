"""What was read of one trimmer over the line-ups of a deck, as arrays of visits and tracks."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError

F64 = NDArray[np.float64]

UNKNOWN_ERROR = {"dB": 0.02, "arcmin": 0.05}
"""Standard error of a reading that came without one, by unit; from memory."""


@dataclass(frozen=True, slots=True)
class Row:
    """One reading of a deck's line-up, as the deviation from its target.

    `at` is a UTC time, ISO 8601; `kind` found or left; `track` counts from 1, None for a stack;
    `unit` dB or arcmin. Reading and error are None where they are not valid.
    """

    lineup: str
    at: str
    trimmer: str
    track: int | None
    kind: str
    reading: float | None
    error: float | None
    unit: str = "dB"


@dataclass(frozen=True, slots=True)
class Note:
    """A service note: when (ISO 8601), its kind (cleaned, relapped, new head, ...), its words."""

    at: str
    kind: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class Trail:
    """One trimmer: (visits,) and (visits, tracks) arrays, NaN where nothing valid was read.

    Readings are deviations from the target in `unit`. A stack's trimmer has one track.
    """

    trimmer: str
    unit: str
    lineups: tuple[str, ...]
    at: tuple[str, ...]
    found: F64
    found_error: F64
    left: F64
    left_error: F64
    day: F64 = field(init=False)
    """Days of the visits since the first of 1970."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "day", days_of(self.at))

    @property
    def visits(self) -> int:
        """How many line-ups."""
        return len(self.at)

    @property
    def tracks(self) -> int:
        """How many tracks, 1 for a stack."""
        return int(self.left.shape[1])


def days_of(at: Sequence[str]) -> F64:
    """Days since the first of 1970 of UTC times, ISO 8601; MisuseError for anything else."""
    try:
        stamps = np.array([a.removesuffix("Z") for a in at], "datetime64[ms]")
    except ValueError:
        raise MisuseError("a time in the history is no ISO 8601 time in UTC") from None
    return np.asarray(stamps.astype(np.int64) / 86_400_000.0)


def date_of(day: float) -> str:
    """The date of a day since the first of 1970."""
    return str(np.datetime64(int(np.floor(day)), "D"))


def trails_of(rows: Iterable[Row]) -> dict[str, Trail]:
    """Trails by trimmer, visits in order of time.

    Of several readings of a kind at one visit the first found and the last left stand.
    """
    by_trimmer: dict[str, list[Row]] = {}
    for row in rows:
        by_trimmer.setdefault(row.trimmer, []).append(row)
    return {name: _trail(name, of) for name, of in by_trimmer.items()}


def _trail(trimmer: str, rows: Sequence[Row]) -> Trail:
    visits: dict[str, str] = {}
    for row in rows:
        visits.setdefault(row.lineup, row.at)
    lineups = sorted(visits, key=lambda name: (visits[name], name))
    place = {name: n for n, name in enumerate(lineups)}
    tracks = max(row.track or 1 for row in rows)
    tables = {f"{kind}{part}": np.full((len(lineups), tracks), np.nan)
              for kind in ("found", "left") for part in ("", "_error")}  # fmt: skip
    unit = rows[0].unit
    for row in rows:
        at = place[row.lineup], (row.track or 1) - 1
        if row.kind not in ("found", "left") or row.reading is None:
            continue
        if row.kind == "found" and np.isfinite(tables["found"][at]):
            continue
        if row.unit != unit:
            raise MisuseError(f"readings of {trimmer} are in {unit} and in {row.unit}")
        error = UNKNOWN_ERROR.get(unit, 0.02) if row.error is None else row.error
        tables[row.kind][at], tables[f"{row.kind}_error"][at] = row.reading, error
    return Trail(trimmer, unit, tuple(lineups), tuple(visits[n] for n in lineups), **tables)


def less(one: Trail, other: Trail, name: str) -> Trail:
    """One trail less another, on the visits that both have: what short waves do beyond long."""
    both = [n for n in one.lineups if n in set(other.lineups)]
    here = [one.lineups.index(n) for n in both]
    there = [other.lineups.index(n) for n in both]
    tracks = min(one.tracks, other.tracks)

    def apart(a: F64, b: F64) -> F64:
        return np.asarray(a[here, :tracks] - b[there, :tracks])

    def joined(a: F64, b: F64) -> F64:
        return np.asarray(np.hypot(a[here, :tracks], b[there, :tracks]))

    return Trail(
        name, one.unit, tuple(both), tuple(one.at[n] for n in here),
        apart(one.found, other.found), joined(one.found_error, other.found_error),
        apart(one.left, other.left), joined(one.left_error, other.left_error),
    )  # fmt: skip
