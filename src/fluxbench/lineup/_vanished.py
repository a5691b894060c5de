"""Tracks that vanish from the calibration tape: while it plays, or because it was wiped before."""

from collections import deque
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._plan import Section

F64 = NDArray[np.float64]

VANISHED_DB = 20.0
"""So far below where it stood among the others, a track is gone; no trimmer reaches as far."""
WIPED_DB = 30.0
"""So far below the others a part is wiped; a bad head or card does not take as much away."""
GONE_POINTS = 5
"""A drop-out is shorter."""
KNOWN_POINTS = 8
REMEMBERED = 30


class Vanishing:
    """Sees a track fall silent while the others play on."""

    def __init__(self, tracks: int) -> None:
        self._past: deque[F64] = deque(maxlen=REMEMBERED)
        self._gone = np.zeros(tracks, int)

    def forget(self) -> None:
        """Something else is played from now on."""
        self._past.clear()
        self._gone[:] = 0

    def see(self, level_db: F64, live: NDArray[np.bool_]) -> int | None:
        """Take the levels (tracks,) of 0.1 s of one section; the track that has vanished, if so."""
        if live.sum() < 2:
            return None
        level = np.maximum(np.nan_to_num(level_db, nan=-200.0), -200.0)
        among_db = level - np.percentile(level[live], 75.0)
        if len(self._past) < KNOWN_POINTS:
            self._past.append(among_db)
            return None
        gone = live & (among_db < np.median(self._past, axis=0) - VANISHED_DB)
        self._gone = np.where(gone, self._gone + 1, 0)
        if not gone.any():
            self._past.append(among_db)
        found = np.flatnonzero(self._gone >= GONE_POINTS)
        if not len(found):
            return None
        self._gone[found[0]] = 0
        return int(found[0])


def wiped_parts(
    level_db: Mapping[int, F64], sections: Sequence[Section], live: NDArray[np.bool_]
) -> list[tuple[Section, int]]:
    """Sections and tracks (from 0) where a track is silent that reads in most other sections.

    `level_db` is what each section (by number) reads (tracks,).
    """
    heard = [s for s in sections if s.number in level_db]
    if len(heard) < 3 or live.sum() < 2:
        return []
    level = np.array([np.nan_to_num(level_db[s.number], nan=-200.0) for s in heard])
    among_db = level - np.percentile(level[:, live], 75.0, axis=1, keepdims=True)
    silent = live & (among_db < np.median(among_db, axis=0) - WIPED_DB)
    return [(heard[row], int(track)) for row, track in np.argwhere(silent)]
