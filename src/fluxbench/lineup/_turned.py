"""Whether a stack was turned a little while it was read: two stretches of readings that differ."""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

SECOND = 10
"""Points."""
LEAST_BEFORE, LEAST_AFTER = 15, 20
"""Points before and after a turn that are looked at."""
EVERY = 5
"""Points from one place that is tried to the next."""
TIMES = 3.0
"""The stretches differ by so many times what chance would make of them."""
LEAST_PAIRS = 4


def spread_of_seconds(points: F64) -> float:
    """Standard deviation of means over a second, by the middle step from one to the next.

    Points are 0.1 s apart; a turn now and then does not matter. Infinite from too few.
    """
    seconds = len(points) // SECOND
    if seconds <= LEAST_PAIRS:
        return float("inf")
    means = points[-seconds * SECOND :].reshape(seconds, SECOND).mean(axis=1)
    # The median of |x| is 0.6745 standard deviations of x, a difference of two has 2 ** 0.5.
    return float(np.median(np.abs(np.diff(means))) / (0.6745 * 2.0**0.5))


def turned_at(points_arcmin: F64, spread_arcmin: float, least_arcmin: float) -> int | None:
    """Where (an index) points differ from those before by `least_arcmin` and beyond chance.

    `spread_arcmin` is that of means over a second; a mean over longer is taken to fall with the root.
    """
    count = len(points_arcmin)
    places = np.arange(LEAST_BEFORE, count - LEAST_AFTER + 1, EVERY)
    if not len(places):
        return None
    total = np.concatenate([[0.0], np.cumsum(points_arcmin)])
    before = total[places] / places
    after = (total[-1] - total[places]) / (count - places)
    chance = spread_arcmin * np.sqrt(SECOND / places + SECOND / (count - places))
    away = np.abs(after - before) / np.maximum(TIMES * chance, least_arcmin)
    best = int(np.argmax(away))
    return int(places[best]) if away[best] > 1.0 else None
