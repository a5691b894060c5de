"""Seeing which track a hand is turning."""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


class Follower:
    """Finds the one track whose level is being moved by hand.

    Fed with one level per track (dB) every `WINDOW_S`. A track takes the focus when it departs from
    its own past by more than `TIMES` its spread, to the same side in `WINDOWS` windows in a row,
    after the part that all tracks do together has been taken off. Drop-outs are too short for that.
    """

    WINDOW_S = 0.3
    WINDOWS = 3
    TIMES = 7.0
    LEAST_DB = 0.08
    LOCK_S = 2.0
    PAST = 20
    """Windows of a track's own past that make its centre (6 s)."""
    MEMORY = 400
    """Departures that make its spread (2 min)."""

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self._past = np.full((self.PAST, tracks), np.nan)
        self._departures = np.full((self.MEMORY, tracks), np.nan)
        self._seen = 0
        self._runs = np.zeros(tracks, int)
        self._lock = 0

    def forget(self, track: int) -> None:
        """Begin a new past for a track that was turned; its spread is kept."""
        self._past[:, track] = np.nan
        self._runs[track] = 0

    def see(self, levels_db: F64) -> int | None:
        """Take one window of levels (tracks,), NaN where invalid; a track (from 0) or None."""
        known = np.isfinite(self._past).sum(axis=0) >= 8
        away = np.zeros(self._tracks)
        if known.any():
            away[known] = levels_db[known] - np.nanmedian(self._past[:, known], axis=0)
        away = np.nan_to_num(away)
        if known.sum() >= 4:
            away[known] -= np.median(away[known])
        found = self._judge(away, known)
        quiet = known & (self._runs == 0)
        row = self._departures[self._seen % self.MEMORY]
        row[:] = np.where(quiet, away, np.nan)
        self._past = np.roll(self._past, -1, axis=0)
        self._past[-1] = np.where(np.isfinite(levels_db), levels_db, np.nan)
        self._seen += 1
        self._lock -= 1
        if found is not None:
            self._lock = round(self.LOCK_S / self.WINDOW_S)
            self.forget(found)
        return found

    def _judge(self, away: F64, known: NDArray[np.bool_]) -> int | None:
        enough = np.isfinite(self._departures).sum(axis=0) >= 15
        judged = known & enough & (np.abs(away) > self.LEAST_DB)  # no limit is lower than that
        limit = np.full(self._tracks, np.inf)
        if judged.any():
            spread = 1.4826 * np.nanmedian(np.abs(self._departures[:, judged]), axis=0)
            limit[judged] = np.maximum(self.TIMES * spread, self.LEAST_DB)
        side = np.where(np.abs(away) > limit, np.sign(away), 0).astype(int)
        same = (np.sign(self._runs) == side) & (side != 0)
        self._runs = np.where(same, self._runs + side, side)
        ready = np.abs(self._runs) >= self.WINDOWS
        if not ready.any() or self._lock > 0:
            return None
        return int(np.argmax(np.where(ready, np.abs(away) / limit, 0.0)))
