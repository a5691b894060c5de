"""Whether the tone that a stage waits for is there, and what to do about it if not."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._point import Point

GONE_POINTS = 4
"""A tone that is away for so long has ended."""
WINDING_POINTS = 400
"""How long a tape may take to wind before the tone is asked for again."""
CLIPPING_POINTS = 20
MOST_TIMES_ASKED = 3
"""A tone that is asked for so often in vain does not exist."""


class Presence:
    """Gives out the points that can be believed.

    A point is given out only when three before it and the one after it are good too: a tape
    gathers speed, and the last point before a section ends is cut short.
    """

    def __init__(self) -> None:
        self._held: Point | None = None
        self._there = self._missing = self._clipping = self._asked = 0
        self._patience = WINDING_POINTS

    def forget(self) -> None:
        """Something else comes back from now on."""
        self._held, self._there = None, 0

    def expect(self, patience_points: int) -> None:
        """The tone may take so many points to come."""
        self._missing, self._patience = 0, patience_points

    def take(self, point: Point, live: NDArray[np.bool_], tones: int) -> Point | None:
        """Take a point; the one before it, if that can be believed."""
        if is_there(point, live, tones):
            self._missing, self._patience = 0, GONE_POINTS
            self._clipping = self._asked = 0
            self._there += 1
            held, self._held = self._held, point
            return held if self._there > 4 else None
        self._held, self._there = None, 0
        if point.lost:  # whether the tone is there is not known
            return None
        self._missing += 1
        self._clipping = self._clipping + 1 if point.clipped[live].all() else 0
        return None

    @property
    def clips(self) -> bool:
        """Whether every return has been clipping for a while."""
        return self._clipping >= CLIPPING_POINTS

    @property
    def gone(self) -> bool:
        """Whether the tone has been away for longer than expected."""
        return self._missing >= self._patience

    def ask_again(self) -> bool:
        """Whether it is worth asking for the tone once more."""
        self._asked += 1
        return self._asked <= MOST_TIMES_ASKED


def is_there(point: Point, live: NDArray[np.bool_], tones: int) -> bool:
    """Whether the first tone comes back on the best of the live tracks."""
    if point.lost or len(point.level_db) != tones:
        return False
    best = -1 - int(live.sum()) // 10
    level = np.nan_to_num(point.level_db[0, live], nan=-99.0)
    if not len(level) or np.sort(level)[best] <= -50.0:
        return False
    return bool(np.sort(point.share[:, live].sum(axis=0))[best] > 0.3)
