"""Where the level of a tone steps and stays: the same tone once more, at another level."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

_BESIDE_S = 1.0
"""A level stays if it does for so long on either side."""

_BLURRED_HOPS = 2
_BRIEF_HOPS = 5
_SUDDEN = 0.6
"""Of a step, what happens at once."""

_LEAST_DB = 0.3
_LEAST_DEVIATIONS = 5.0
"""Re the standard deviation of the hops on either side; a steady slope has 3.5."""

_ONE_SIDED = 0.1587
"""Of a normal distribution, what lies more than a standard deviation below its middle."""

_QUANTILES = (_ONE_SIDED, 0.5, 1.0 - _ONE_SIDED)
_AT_ONCE = 1 << 12
"""Hops whose surroundings are held at once: memory does not grow with a capture."""


def plateaus(level_db: NDArray[np.float64], hop_s: float) -> list[tuple[int, int]]:
    """First hop and hop after the last of every level that a tone (hops,) keeps; in order.

    Medians are compared, so that no drop-out counts as a step. Limits are our choice.
    """
    beside = max(round(_BESIDE_S / hop_s), 2 * _BLURRED_HOPS + 1)
    hops = len(level_db)
    if hops < 2 * beside:
        return [(0, hops)]
    width = beside - _BLURRED_HOPS
    windows = np.lib.stride_tricks.sliding_window_view(level_db, width)
    low, middle, high = np.concatenate(
        [
            np.quantile(windows[first : first + _AT_ONCE], _QUANTILES, axis=1)
            for first in range(0, len(windows), _AT_ONCE)
        ],
        axis=1,
    )
    deviation = 0.5 * (high - low)
    before, after = slice(0, hops - 2 * beside + 1), slice(beside + _BLURRED_HOPS, None)
    step = np.abs(middle[after] - middle[before])
    least = np.maximum(
        _LEAST_DB, _LEAST_DEVIATIONS * np.maximum(deviation[before], deviation[after])
    )
    edges: list[int] = []
    for index in np.argsort(-step):
        if not step[index] > least[index]:
            continue
        levels_db = float(middle[index]), float(middle[index + beside + _BLURRED_HOPS])
        edge = _edge(level_db, beside + int(index), beside // 2, *levels_db)
        if edge and all(abs(edge - other) >= beside for other in (*edges, 0, hops)):
            edges.append(edge)
    ends = [0, *sorted(edges), hops]
    return list(pairwise(ends))


def _edge(
    level_db: NDArray[np.float64], near: int, reach: int, before_db: float, after_db: float
) -> int | None:
    """The hop that parts two levels best, if the level does change there from hop to hop."""
    some = level_db[near - reach : near + reach]
    cost = np.cumsum(np.abs(some - before_db) - np.abs(some - after_db))
    edge = near - reach + int(np.argmin(cost)) + 1
    first, last = edge - _BLURRED_HOPS - _BRIEF_HOPS, edge + _BLURRED_HOPS + _BRIEF_HOPS
    brief_db = np.median(level_db[last - _BRIEF_HOPS : last]) - np.median(
        level_db[first : first + _BRIEF_HOPS]
    )
    sudden = brief_db / (after_db - before_db) > _SUDDEN
    return edge if sudden else None
