"""Levels of all tracks as they stand: averaged for as long as nobody turns, fresh after a turn."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._neighbours import Neighbours

F64 = NDArray[np.float64]

POINT_S = 0.1


class Readings:
    """Points of 0.1 s of every track, and from them the mean since the last movement.

    What a track does together with its neighbours is taken off first. A track has moved when its
    latest points stand apart from those before them by more than its spread allows, be it much in
    0.3 s or little in several seconds; the mean then begins anew. It reaches back `longest_s` at
    most.
    """

    BLOCK = 5
    """Points of a block whose means give the standard error."""
    SCALES = (3, 6, 12, 24, 40)
    """Points that are held against those before them, up to three times as many."""
    TIMES = 4.5
    """Spreads of a difference of means, as of white noise, that make a movement."""
    LEAST_DB = 0.02
    FALLEN_DB = 1.0
    DROP_OUT = 4
    """So many points a track may stand this far below its mean before that is a movement."""
    MOST_SPREAD = 2.5
    """So many times the middle one of all tracks a track spreads at most."""
    PLACE = 400
    """Points (40 s) over which it is remembered where a neighbour stands."""
    SURE = 10
    """Points after which a neighbour's place is half believed."""

    def __init__(self, tracks: int, window_s: float, longest_s: float) -> None:
        self._window = max(3, round(window_s / POINT_S))
        self._longest = max(self._window, round(longest_s / POINT_S))
        self._points = np.zeros((0, tracks))
        self._sums = np.zeros((self._longest + 1, tracks))
        self._counts = np.zeros((self._longest + 1, tracks), int)
        self._age = np.zeros(tracks, int)
        self._fallen = np.zeros(tracks, int)
        self._square = np.full(tracks, 0.02**2)
        self._learned = np.zeros(tracks, int)
        self._neighbours = Neighbours(tracks)
        self._place_db = np.zeros(tracks)
        self._stood = np.zeros(tracks)

    def add(self, levels_db: F64, hand: int | None = None) -> None:
        """Take one point (tracks,), NaN where it is not valid; `hand` is the track in hand."""
        apart_db = self._without_drop_outs(self._apart(levels_db, hand))
        self._points = np.concatenate([self._points[1 - self._longest :], apart_db[np.newaxis]])
        self._sum_up()
        self._learn_spread(hand)
        self._age = np.minimum(self._age + 1, len(self._points))
        before = self._age.copy()
        for points in self.SCALES:
            self._age = np.where(self._moved(points), points, self._age)
        moved = self._age < before
        if moved.any():
            mean_db, count = self._mean(self._age, 0)
            self._place_db = np.where(moved & (count > 0), mean_db, self._place_db)
            self._stood = np.where(moved, count, self._stood)

    def _without_drop_outs(self, levels_db: F64) -> F64:
        """Levels (tracks,), NaN where one has fallen far and for a short time."""
        spread = np.sqrt(self._square)
        fallen = np.nan_to_num(self.mean()) - levels_db > np.maximum(self.FALLEN_DB, 8.0 * spread)
        self._fallen = np.where(fallen & (self._age >= 8), self._fallen + 1, 0)
        short = (self._fallen > 0) & (self._fallen <= self.DROP_OUT)
        return np.where(short, np.nan, levels_db)

    def mean(self) -> F64:
        """Mean since the last movement (tracks,), NaN where there is none yet."""
        return self._mean(self._age, 0)[0]

    def error(self, track: int) -> float:
        """Standard error of a track's mean, at least 0.002 dB.

        From the means of half-second blocks; from the track's usual spread while there are too few
        of these.
        """
        points = int(self._age[track])
        piece = self._points[len(self._points) - points :, track]
        blocks = len(piece) // self.BLOCK
        if blocks < 3:
            return max(0.002, float(np.sqrt(self._square[track] / max(points, 1))))
        means = piece[: blocks * self.BLOCK].reshape(blocks, self.BLOCK).mean(axis=1)
        return max(0.002, float(means.std(ddof=1) / np.sqrt(blocks)))

    def errors(self) -> F64:
        """Standard error of every track's mean (tracks,), from the tracks' usual spreads."""
        return np.maximum(0.002, np.sqrt(self._square / np.maximum(self._age, 1)))

    def age_points(self) -> NDArray[np.int_]:
        """Points since the last movement of each track."""
        return self._age

    def steady(self) -> NDArray[np.bool_]:
        """Tracks that have stood still for the whole window."""
        return self._age >= self._window

    def jumped(self, least_db: float) -> NDArray[np.bool_]:
        """Tracks whose latest point stands off their mean by more than this and their spread.

        A trimmer that goes by steps has just made one, and the mean is of both places.
        """
        if not len(self._points):
            return np.zeros(len(self._age), bool)
        away = np.abs(np.nan_to_num(self._points[-1] - self.mean()))
        return np.asarray(away > np.maximum(least_db, self.TIMES * np.sqrt(self._square)))

    def change_db(self, points: int) -> F64:
        """How far the last points stand, in the mean, from as many before them (tracks,)."""
        each = np.full(len(self._age), min(points, len(self._points)))
        recent, _ = self._mean(each, 0)
        older, _ = self._mean(np.minimum(2 * each, len(self._points)), points)
        return recent - older

    def _moved(self, points: int) -> NDArray[np.bool_]:
        """Tracks whose latest points stand apart from those before them (tracks,)."""
        if len(self._points) < points + 3 or not (self._age >= points + 3).any():
            return np.zeros(len(self._age), bool)
        recent, count = self._mean(np.minimum(self._age, points), 0)
        older, before = self._mean(np.minimum(self._age, 4 * points), points)
        judged = (self._age >= points + 3) & (count >= 3) & (before >= 3)
        noise = np.sqrt(self._square * (1.0 / np.maximum(count, 1) + 1.0 / np.maximum(before, 1)))
        away = np.abs(np.where(judged, recent - older, 0.0))
        moved = judged & (away > np.maximum(self.TIMES * noise, self.LEAST_DB))
        if points == self.SCALES[0] and moved.any():  # a drop-out is shorter
            side = self._points[-points:] - np.nan_to_num(older)
            limit = 2.0 * np.sqrt(self._square)
            moved &= (side > limit).all(axis=0) | (side < -limit).all(axis=0)
        return moved

    def _apart(self, levels_db: F64, hand: int | None) -> F64:
        """Levels without what each track does together with its neighbours (tracks,)."""
        self._neighbours.learn(levels_db, hand)
        here = np.isfinite(levels_db)
        away = np.where(here, levels_db - self._place_db, 0.0)
        away *= (np.abs(away) < Neighbours.MOST_DB) * self._stood / (self._stood + self.SURE)
        if hand is not None:
            away[hand] = 0.0
        self._stood = np.minimum(self._stood + here, self.PLACE)
        step = np.where(here, levels_db - self._place_db, 0.0) / np.maximum(self._stood, 1.0)
        self._place_db = self._place_db + step
        return np.asarray(levels_db - self._neighbours.share @ away)

    def _mean(self, reach: NDArray[np.int_], leave: int) -> tuple[F64, NDArray[np.int_]]:
        """Mean over the last `reach` points (tracks,) without the last `leave`, and their count."""
        each = np.arange(len(reach))
        last = np.minimum(leave, reach)
        count = self._counts[reach, each] - self._counts[last, each]
        total = self._sums[reach, each] - self._sums[last, each]
        return np.where(count > 0, total / np.maximum(count, 1), np.nan), count

    def _sum_up(self) -> None:
        """Sums and counts over the last 0, 1, 2 ... points, (points + 1, tracks)."""
        newest_first = self._points[::-1]
        here = np.isfinite(newest_first)
        np.cumsum(here, axis=0, out=self._counts[1 : len(here) + 1])
        np.cumsum(np.where(here, newest_first, 0.0), axis=0, out=self._sums[1 : len(here) + 1])

    def _learn_spread(self, hand: int | None) -> None:
        """From differences over half a second of tracks that are not in hand."""
        if len(self._points) <= self.BLOCK:
            return
        square = 0.5 * (self._points[-1] - self._points[-1 - self.BLOCK]) ** 2
        use = np.isfinite(square) & ((square < 16.0 * self._square) | (self._learned < 15))
        if hand is not None:
            use[hand] = False
        self._learned = np.where(use, self._learned + 1, self._learned)
        rate = np.maximum(0.03, 1.0 / np.maximum(self._learned, 1))
        self._square += np.where(use, rate * (np.where(use, square, 0.0) - self._square), 0.0)
        self._square = np.maximum(self._square, 0.003**2)
        # A drop-out among a track's first points would stand for its spread while it is in hand.
        self._square = np.minimum(self._square, self.MOST_SPREAD**2 * np.median(self._square))
