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
    LEAST_DB = 0.06
    LOCK_S = 2.0
    MEMORY = 40

    def __init__(self, tracks: int) -> None:
        self._past: list[F64] = []
        self._tracks = tracks
        self._runs = np.zeros(tracks, int)
        self._lock = 0

    def forget(self, track: int | None = None) -> None:
        """Begin a new past for a track that was turned (or for all)."""
        if track is None:
            self._past.clear()
            self._runs[:] = 0
            return
        for levels in self._past:
            levels[track] = np.nan
        self._runs[track] = 0

    def see(self, levels_db: F64) -> int | None:
        """Take one window of levels (tracks,), NaN where invalid; a track (from 0) or None."""
        levels = levels_db.copy()
        if self._tracks >= 4 and np.isfinite(levels).any():
            levels -= np.nanmedian(levels)
        found: int | None = None
        if len(self._past) >= 8:
            past = np.array(self._past[:-1])
            seen = np.isfinite(past).sum(axis=0)
            enough = seen >= 6
            centre, spread = np.zeros(self._tracks), np.full(self._tracks, np.inf)
            if enough.any():
                centre[enough] = np.nanmedian(past[:, enough], axis=0)
                off = np.abs(past[:, enough] - centre[enough])
                spread[enough] = 1.4826 * np.nanmedian(off, axis=0)
            away = np.nan_to_num(levels - centre)
            limit = np.maximum(self.TIMES * spread, self.LEAST_DB)
            side = np.where(np.abs(away) > limit, np.sign(away), 0).astype(int)
            same = (np.sign(self._runs) == side) & (side != 0)
            self._runs = np.where(side == 0, 0, np.where(same, self._runs + side, side))
            ready = np.abs(self._runs) >= self.WINDOWS
            if ready.any() and self._lock <= 0:
                strength = np.where(ready, np.abs(away) / np.maximum(limit, 1e-9), 0.0)
                found = int(np.argmax(strength))
                self._lock = round(self.LOCK_S / self.WINDOW_S)
        self._lock -= 1
        self._past.append(levels)
        del self._past[: -self.MEMORY]
        if found is not None:
            self.forget(found)
        return found
