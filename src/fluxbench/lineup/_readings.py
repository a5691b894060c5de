"""Levels of all tracks as they stand: averaged for as long as nobody turns, fresh after a turn."""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

POINT_S = 0.1


class Readings:
    """Points of 0.1 s of every track, and from them the mean since the last movement.

    Three points in a row beyond 4 x the spread of a track to one side of its mean say that
    it moved; the mean then begins anew. It reaches back `longest_s` at most.
    """

    KEEP = 400

    def __init__(self, tracks: int, window_s: float, longest_s: float) -> None:
        self._tracks = tracks
        self._window = max(3, round(window_s / POINT_S))
        self._longest = max(self._window, round(longest_s / POINT_S))
        self._points = np.zeros((0, tracks))
        self._begin = np.zeros(tracks, int)
        self._spread = np.full(tracks, 0.02)
        self.count = 0

    def restart(self) -> None:
        """Everything before now is of something else."""
        self._begin[:] = len(self._points)

    def add(self, levels_db: F64) -> None:
        """Take one point (tracks,); NaN where it is not valid."""
        self._points = np.concatenate([self._points, levels_db[np.newaxis]])
        self.count += 1
        extra = len(self._points) - self.KEEP
        if extra > 0:
            self._points = self._points[extra:]
            self._begin = np.maximum(self._begin - extra, 0)
        total = len(self._points)
        for t in np.flatnonzero(total - self._begin >= 6):
            self._judge(int(t), total)

    def _judge(self, t: int, total: int) -> None:
        """See whether a track moved: at once if it jumped, after a window if it crept."""
        first = max(int(self._begin[t]), total - self._longest)
        old, new = self._points[first : total - 3, t], self._points[total - 3 :, t]
        if not np.isfinite(new).all() or np.isfinite(old).sum() < 3:
            return
        away = new - np.nanmean(old)
        limit = max(4.0 * self._spread[t], 0.03)
        if (away > limit).all() or (away < -limit).all():
            self._begin[t] = total - 2
            return
        if total - first >= 12:
            spread = float(np.nanstd(self._points[max(first, total - 40) :, t]))
            self._spread[t] += 0.05 * (spread - self._spread[t])
        if total - first >= self._window + 8 and np.isfinite(self._points[first:, t]).all():
            recent = self._points[total - self._window :, t]
            older = self._points[first : total - self._window, t]
            noise = 0.8 * self._spread[t] * np.sqrt(4.0 / len(recent) + 4.0 / len(older))
            if abs(np.nanmean(recent) - np.nanmean(older)) > max(2.2 * noise, 0.02):
                self._begin[t] = total - self._window

    def mean(self) -> F64:
        """Mean over the window since the last movement, NaN where there is none yet."""
        total = len(self._points)
        out = np.full(self._tracks, np.nan)
        for t in range(self._tracks):
            piece = self._points[max(self._begin[t], total - self._longest) :, t]
            good = piece[np.isfinite(piece)]
            if len(good):
                out[t] = good.mean()
        return out

    def error(self) -> F64:
        """Standard error of the mean from half-second blocks, at least 0.002 dB."""
        total = len(self._points)
        out = np.full(self._tracks, np.inf)
        for t in range(self._tracks):
            piece = self._points[max(self._begin[t], total - self._longest) :, t]
            blocks = len(piece) // 5
            if blocks >= 2:
                means = piece[: blocks * 5].reshape(blocks, 5).mean(axis=1)
                out[t] = max(0.002, float(means.std(ddof=1)) / np.sqrt(blocks))
        return out

    def age_points(self) -> NDArray[np.int_]:
        """Points since the last movement of each track."""
        return len(self._points) - self._begin

    def steady(self) -> NDArray[np.bool_]:
        """Tracks that have stood still for the whole window."""
        return self.age_points() >= self._window
