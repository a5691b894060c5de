"""What was read of one trimmer over the line-ups of a deck, as arrays of visits and tracks."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy import nan
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


Told = tuple[str, str, int | None, str, float | None, float | None, str]
"""Line-up, trimmer, track, found or left, reading, error, unit: a `Row` without its time."""


def trails_of(rows: Iterable[Row]) -> dict[str, Trail]:
    """Trails by trimmer, visits in order of time; see `trails_from`."""
    rows = list(rows)
    when: dict[str, str] = {}
    for row in rows:
        when.setdefault(row.lineup, row.at)
    lineups = sorted(when, key=lambda name: (when[name], name))
    told: list[Told] = [
        (r.lineup, r.trimmer, r.track, r.kind, r.reading, r.error, r.unit) for r in rows
    ]
    return trails_from([(name, when[name]) for name in lineups], told)


def trails_from(visits: Sequence[tuple[str, str]], rows: Iterable[Told]) -> dict[str, Trail]:
    """Trails by trimmer of visits (line-up, time) in order, from rows in the order of reading.

    Of several readings of a kind at one visit the first found and the last left stand. A visit at
    which a trimmer was not read has NaN there.
    """
    place = {name: n for n, (name, _) in enumerate(visits)}
    cells: dict[tuple[str, str], list[tuple[int, int, float, float]]] = {}
    units: dict[str, str] = {}
    for lineup, trimmer, track, kind, reading, error, unit in rows:
        if reading is None:
            continue
        cell = place[lineup], (track or 1) - 1, reading, nan if error is None else error
        if (trimmer, kind) in cells and units[trimmer] == unit:
            cells[trimmer, kind].append(cell)
            continue
        if units.setdefault(trimmer, unit) != unit:
            raise MisuseError(f"readings of {trimmer} are in {units[trimmer]} and in {unit}")
        cells[trimmer, kind] = [cell]
    names, at = tuple(name for name, _ in visits), tuple(when for _, when in visits)
    trails = {}
    for trimmer, unit in units.items():
        found, left = (np.array(cells.get((trimmer, kind), [])).reshape(-1, 4)
                       for kind in ("found", "left"))  # fmt: skip
        shape = len(names), int(max(found[:, 1].max(initial=0), left[:, 1].max(initial=0))) + 1
        unknown = UNKNOWN_ERROR.get(unit, 0.02)
        tables = (*_tables(found[::-1], shape, unknown), *_tables(left, shape, unknown))
        trails[trimmer] = Trail(trimmer, unit, names, at, *tables)
    return trails


def _tables(cells: F64, shape: tuple[int, int], unknown: float) -> tuple[F64, F64]:
    """Readings and errors (visits, tracks) of cells; of several for one place the last stands."""
    reading, error = np.full(shape, np.nan), np.full(shape, np.nan)
    at = cells[:, 0].astype(int), cells[:, 1].astype(int)
    reading[at] = cells[:, 2]
    error[at] = np.where(np.isnan(cells[:, 3]), unknown, cells[:, 3])
    return reading, error
