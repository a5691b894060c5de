"""How far each trimmer has been turned since the line-up began, and the way back for each."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]


class WayBack:
    """What each trimmer has moved its own reading by, in all steps in which it was turned.

    Of a trimmer per track that is (tracks,) dB, of a stack one angle in arc-minutes. Other trimmers
    change what this one reads too, between its steps; so only what happened within them counts.
    """

    def __init__(self) -> None:
        self._moved: dict[str, F64] = {}

    def origin(self, trimmer: str, now: ArrayLike) -> F64:
        """What it would read as found, if it reads `now` at the begin of a step."""
        here = np.asarray(now, np.float64)
        return np.asarray(here - self._moved.get(trimmer, np.zeros(here.shape)))

    def turned(self, trimmer: str, before: ArrayLike, after: ArrayLike) -> None:
        """A step has taken it from one reading to another; what was not read has not moved."""
        step = np.nan_to_num(np.asarray(after, np.float64) - np.asarray(before, np.float64))
        self._moved[trimmer] = self._moved.get(trimmer, np.zeros(np.shape(step))) + step

    def told(self) -> dict[str, Any]:
        """As plain values."""
        return {trimmer: moved.tolist() for trimmer, moved in self._moved.items()}

    def restore(self, told: Mapping[str, Any]) -> None:
        """From `told`."""
        self._moved = {trimmer: np.asarray(moved, float) for trimmer, moved in told.items()}
