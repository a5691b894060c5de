"""What a track does together with its neighbours, so that it can be taken off its reading.

Tape runs over a head with a contact that comes and goes, and neighbours share a part of it. Nobody
turns them while the track in hand is turned: how far they stand from where they have stood says
how far the contact moved the track in hand.
"""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


class Neighbours:
    """Learns, from points of 0.1 s, how each track follows those beside it (best linear guess).

    Fed with levels in dB. Only differences over half a second count, so that a slow trend or a
    level that was changed is no likeness; what jumps is left out.
    """

    REACH = 3
    """Tracks on either side that are looked at."""
    APART = 5
    """Points between the two that make a difference."""
    LEAST = 30
    """Differences of both tracks before anything is said."""
    MEMORY = 1200.0
    """Points (2 min) after which what was learned has faded by 1/e."""
    MOST_DB = 0.6
    """A track that stands further from its place has not been moved by its contact."""
    CAUTION = 6.0
    """Over the count of differences, a part added to each track's own variance: few points must
    not make up a likeness."""

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self._past: list[F64] = []
        self._together = np.zeros((tracks, tracks))
        self._count = np.zeros((tracks, tracks))
        self._share = np.zeros((tracks, tracks))
        self._age = 0

    def learn(self, levels_db: F64, but: int | None = None) -> None:
        """Take one point (tracks,), NaN where invalid; a track in hand (from 0) is left out."""
        self._past.append(levels_db)
        if len(self._past) <= self.APART:
            return
        moved = levels_db - self._past.pop(0)
        spread = np.sqrt(np.diag(self._together) / np.maximum(np.diag(self._count), 1.0))
        known = np.diag(self._count) >= self.LEAST
        use = np.isfinite(moved) & ~(known & (np.abs(moved) > 4.0 * spread)) & (np.abs(moved) < 2.0)
        if but is not None:
            use[but] = False
        moved = np.where(use, moved, 0.0)
        fade = 1.0 - 1.0 / self.MEMORY
        self._together = fade * self._together + np.outer(moved, moved)
        self._count = fade * self._count + np.outer(use, use)
        self._age += 1
        if self._age % 20 == 0:
            self._share = self._guess()

    @property
    def share(self) -> F64:
        """How much of each track's departure (column) a track (row) shows, (tracks, tracks)."""
        return self._share

    def _guess(self) -> F64:
        share = np.zeros((self._tracks, self._tracks))
        mean = self._together / np.maximum(self._count, 1.0)
        for track in range(self._tracks):
            first, last = max(0, track - self.REACH), min(self._tracks, track + self.REACH + 1)
            beside = np.array([t for t in range(first, last) if t != track], int)
            beside = beside[self._count[track, beside] >= self.LEAST]
            if not len(beside):
                continue
            among = mean[np.ix_(beside, beside)]
            added = self.CAUTION / self._count[track, beside] * np.diag(among)
            among = among + np.diag(np.maximum(added, 1e-9))
            share[track, beside] = np.linalg.solve(among, mean[beside, track])
        return share
