"""One tone along a reel: how its level rises or falls with time, and how it scatters."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity

F64 = NDArray[np.float64]

_FEW = 5
"""Places from whose scatter no error can be told."""
_MOST_LIKE = 0.9


@dataclass(frozen=True, slots=True)
class AlongReading:
    """Level along the reel; arrays have one number a track, NaN where it is not valid.

    `slope_db_per_min` is that of a straight line, positive: rising. `spread_db` is the standard
    deviation about it (NaN for two places), `range_db` from the lowest place to the highest.
    `TOO_SHORT` on a track that was read at fewer than two places.
    """

    slope_db_per_min: F64
    slope_standard_error_db_per_min: F64
    range_db: F64
    spread_db: F64
    validity: tuple[Validity, ...]


def level_along(at_s: F64, level_db: F64, standard_error_db: F64 | None = None) -> AlongReading:
    """Fit a line to the level of one tone at two or more places of a reel, on every track.

    Parameters
    ----------
    at_s
        Where it was read, shape (places,), rising, in s of playing.
    level_db
        Shape (places, tracks); NaN where it was not read.
    standard_error_db
        Of each level, same shape.

    Returns
    -------
    AlongReading
        The error of the slope is the larger of what the errors of the levels must give and, from
        five places on, what the scatter about the line gives if neighbouring places go on like
        each other (first-order autocorrelation, from memory). NaN if neither is known.

    Raises
    ------
    MisuseError
        Not one row for each place.

    Examples
    --------
    0.2 dB less two minutes later, each read to 0.01 dB: sqrt(2) of that in two minutes.

    >>> two = level_along(np.array([10.0, 130.0]), np.array([[0.0], [-0.2]]), np.full((2, 1), 0.01))
    >>> round(float(two.slope_db_per_min[0]), 3), round(float(two.range_db[0]), 3)
    (-0.1, 0.2)
    >>> round(float(two.slope_standard_error_db_per_min[0]), 4)
    0.0071
    """
    if level_db.shape[:1] != at_s.shape:
        raise MisuseError("a level along the reel needs one row for each place")
    if standard_error_db is None:
        standard_error_db = np.full(level_db.shape, np.nan)
    found = [
        _of_track(at_s, level_db[:, track], standard_error_db[:, track])
        for track in range(level_db.shape[1])
    ]
    slope, error, span, spread = np.array(found, np.float64).reshape(-1, 4).T
    told = tuple(Validity.OK if np.isfinite(slope) else Validity.TOO_SHORT for slope, *_ in found)
    return AlongReading(slope, error, span, spread, told)


def _of_track(at_s: F64, level_db: F64, error_db: F64) -> tuple[float, float, float, float]:
    known = np.isfinite(level_db)
    time, level, error = at_s[known] / 60.0, level_db[known], error_db[known]
    if len(level) < 2 or not np.ptp(time) > 0.0:
        return (np.nan,) * 4
    time = time - time.mean()
    pull = time / float(time @ time)
    slope = float(pull @ level)
    off = level - level.mean() - slope * time
    spread = float(np.sqrt(off @ off / (len(level) - 2))) if len(level) > 2 else np.nan
    must = float(np.sqrt(np.sum((pull * error) ** 2)))
    return slope, _larger(must, _scattered(off, pull)), float(np.ptp(level)), spread


def _scattered(off: F64, pull: F64) -> float:
    """Error of the slope from what lies off the line; NaN from few places."""
    if len(off) < _FEW:
        return np.nan
    power = float(off @ off)
    like = float(off[1:] @ off[:-1]) / max(power, 1e-30)
    like = min(max(like, 0.0), _MOST_LIKE)
    longer = np.sqrt((1.0 + like) / (1.0 - like))
    return float(longer * np.sqrt(power / (len(off) - 2) * float(pull @ pull)))


def _larger(first: float, second: float) -> float:
    known = [one for one in (first, second) if np.isfinite(one)]
    return max(known) if known else np.nan
