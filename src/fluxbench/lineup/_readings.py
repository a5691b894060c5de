"""Levels of all tracks as they stand: averaged for as long as nobody turns, fresh after a turn."""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

POINT_S = 0.1


class Readings:
    """Points of 0.1 s of every track, and from them the mean since the last movement.

    Three points in a row beyond 4 x the spread of a track to one side of its mean say that it
    moved; so does a window whose mean differs from what came before it. The mean then begins anew.
    It reaches back `longest_s` at most.
    """

    BLOCK = 5
    """Points of a block whose means give the standard error."""

    def __init__(self, tracks: int, window_s: float, longest_s: float) -> None:
        self._window = max(3, round(window_s / POINT_S))
        self._longest = max(self._window, round(longest_s / POINT_S))
        self._points = np.zeros((0, tracks))
        self._age = np.zeros(tracks, int)
        self._spread = np.full(tracks, 0.02)
        self.count = 0

    def add(self, levels_db: F64) -> None:
        """Take one point (tracks,); NaN where it is not valid."""
        self._points = np.concatenate([self._points[1 - self._longest :], levels_db[np.newaxis]])
        self.count += 1
        self._age += 1
        reach = np.minimum(self._age, len(self._points))
        new = self._points[-3:]
        centre, known = self._mean(reach, 3)
        limit = np.maximum(4.0 * self._spread, 0.03)
        away = new - centre
        jumped = (known >= 3) & ((away > limit).all(axis=0) | (away < -limit).all(axis=0))
        self._learn_spread(reach, ~jumped & (reach >= 12))
        recent, count = self._mean(np.minimum(reach, self._window), 0)
        older, before = self._mean(reach, self._window)
        settled = (before >= 8) & (count >= self._window)
        noise = (
            1.6 * self._spread * np.sqrt(1.0 / np.maximum(count, 1) + 1.0 / np.maximum(before, 1))
        )
        crept = settled & (np.abs(recent - older) > np.maximum(2.2 * noise, 0.02))
        self._age = np.where(jumped, 2, np.where(crept, self._window, self._age))

    def mean(self) -> F64:
        """Mean since the last movement (tracks,), NaN where there is none yet."""
        return self._mean(np.minimum(self._age, len(self._points)), 0)[0]

    def error(self, track: int) -> float:
        """Standard error of a track's mean from half-second blocks, at least 0.002 dB."""
        piece = self._points[
            len(self._points) - min(int(self._age[track]), len(self._points)) :, track
        ]
        blocks = len(piece) // self.BLOCK
        if blocks < 2:
            return float("inf")
        means = piece[: blocks * self.BLOCK].reshape(blocks, self.BLOCK).mean(axis=1)
        return max(0.002, float(means.std(ddof=1) / np.sqrt(blocks)))

    def age_points(self) -> NDArray[np.int_]:
        """Points since the last movement of each track."""
        return self._age

    def steady(self) -> NDArray[np.bool_]:
        """Tracks that have stood still for the whole window."""
        return self._age >= self._window

    def _mean(self, reach: NDArray[np.int_], leave: int) -> tuple[F64, NDArray[np.int_]]:
        """Mean over the last `reach` points (tracks,) without the last `leave`, and their count."""
        back = np.arange(len(self._points), 0, -1)[:, np.newaxis]
        use = (back <= reach) & (back > leave) & np.isfinite(self._points)
        count = use.sum(axis=0)
        total = np.where(use, self._points, 0.0).sum(axis=0)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan), count

    def _learn_spread(self, reach: NDArray[np.int_], who: NDArray[np.bool_]) -> None:
        centre, _ = self._mean(np.minimum(reach, 40), 0)
        back = np.arange(len(self._points), 0, -1)[:, np.newaxis]
        use = (back <= np.minimum(reach, 40)) & np.isfinite(self._points)
        square = np.where(use, (self._points - centre) ** 2, 0.0).sum(axis=0)
        spread = np.sqrt(square / np.maximum(use.sum(axis=0), 1))
        self._spread += np.where(who, 0.05 * (spread - self._spread), 0.0)
