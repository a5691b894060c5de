"""What was read of one trimmer over the line-ups of a deck, as arrays of visits and tracks."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

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


class Told(Protocol):
    """Readings of one trimmer at one line-up, in order, with their fields as a `Row` has them."""

    @property
    def lineup(self) -> str: ...
    @property
    def trimmer(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def track(self) -> Sequence[int | None]: ...
    @property
    def reading(self) -> Sequence[float | None]: ...
    @property
    def error(self) -> Sequence[float | None]: ...


@dataclass(frozen=True, slots=True)
class _One:
    """A `Row` as readings of which there is one."""

    lineup: str
    trimmer: str
    kind: str
    unit: str
    track: Sequence[int | None]
    reading: Sequence[float | None]
    error: Sequence[float | None]


def trails_of(rows: Iterable[Row]) -> dict[str, Trail]:
    """Trails by trimmer, visits in order of time; see `trails_from`."""
    rows = list(rows)
    when: dict[str, str] = {}
    for row in rows:
        when.setdefault(row.lineup, row.at)
    lineups = sorted(when, key=lambda name: (when[name], name))
    told = [
        _One(r.lineup, r.trimmer, r.kind, r.unit, (r.track,), (r.reading,), (r.error,))
        for r in rows
    ]
    return trails_from([(name, when[name]) for name in lineups], told)


def trails_from(visits: Sequence[tuple[str, str]], told: Iterable[Told]) -> dict[str, Trail]:
    """Trails by trimmer of visits (line-up, time) in order, from what was read, in its order.

    Of several readings of a kind at one visit the first found and the last left stand. A visit at
    which a trimmer was not read has NaN there.
    """
    by_trimmer: dict[str, list[Told]] = {}
    for one in told:
        by_trimmer.setdefault(one.trimmer, []).append(one)
    place = {name: n for n, (name, _) in enumerate(visits)}
    names, at = tuple(name for name, _ in visits), tuple(when for _, when in visits)
    trails = {}
    for trimmer, ours in by_trimmer.items():
        units = list(dict.fromkeys(one.unit for one in ours))
        if len(units) > 1:
            raise MisuseError(f"readings of {trimmer} are in {units[0]} and in {units[1]}")
        found, left = (
            _cells([one for one in ours if one.kind == kind], place) for kind in ("found", "left")
        )
        tracks = np.append(found[:, 1], left[:, 1])
        if not len(tracks):
            continue
        shape, unknown = (len(names), int(tracks.max()) + 1), UNKNOWN_ERROR.get(units[0], 0.02)
        tables = (*_tables(found[::-1], shape, unknown), *_tables(left, shape, unknown))
        trails[trimmer] = Trail(trimmer, units[0], names, at, *tables)
    return trails


def _cells(told: Sequence[Told], place: Mapping[str, int]) -> F64:
    """Visit, track (from 0), reading and error of what is valid, (readings, 4)."""
    visit = np.repeat([place[one.lineup] for one in told], [len(one.track) for one in told])
    track = [(track or 1) - 1 for one in told for track in one.track]
    reading = [reading for one in told for reading in one.reading]
    error = [error for one in told for error in one.error]
    cells = np.array([visit, track, reading, error], np.float64).T
    return np.asarray(cells[np.isfinite(cells[:, 2])])


def _tables(cells: F64, shape: tuple[int, int], unknown: float) -> tuple[F64, F64]:
    """Readings and errors (visits, tracks) of cells; of several for one place the last stands."""
    reading, error = np.full(shape, np.nan), np.full(shape, np.nan)
    at = cells[:, 0].astype(int), cells[:, 1].astype(int)
    reading[at] = cells[:, 2]
    error[at] = np.where(np.isnan(cells[:, 3]), unknown, cells[:, 3])
    return reading, error
