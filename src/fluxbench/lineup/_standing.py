"""Whether a level that a hand has just turned stands still."""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

LEAST_DB = 0.06
"""Less is no movement."""


def moved_since(short: F64, since: int, window: int) -> int:
    """The point at which the last movement ended."""
    n = len(short)
    first = max(since, n - window)
    if n - first < 9:
        return since
    old, new = short[first : n - 3], short[n - 3 :]
    limit = max(LEAST_DB, 2.5 * _spread(old))
    away = new - old.mean()
    return n - 3 if (away > limit).all() or (away < -limit).all() else since


def creeps(short: F64) -> bool:
    """Whether a stretch of points still goes one way: its halves differ."""
    half = len(short) // 2
    limit = max(LEAST_DB, 3.0 * _spread(short) * np.sqrt(2.0 / half))
    return bool(abs(short[:half].mean() - short[-half:].mean()) > limit)


def _spread(short: F64) -> float:
    """Spread of points about a line, from their steps."""
    return float(np.std(np.diff(short)) / np.sqrt(2.0))


def has_jumped(level_db: F64, least_db: float) -> bool:
    """Whether the last of these points stands off those before it, as after a step of a trimmer."""
    before = level_db[:-1]
    away_db = abs(float(level_db[-1] - before.mean()))
    return away_db > max(least_db, 4.5 * float(before.std()))
