"""A noise-reduction unit that was left in the returns: it decodes what nobody encoded."""

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from fluxbench.deck._machine import ZERO_VU_DBFS

F32 = NDArray[np.float32]

RATIO = 2.0
"""Decibels out for one in, about 0 VU; common practice for units that work on all levels alike."""
DETECTOR_S = 0.02
MOST_DB, LEAST_DB = 12.0, -40.0
"""What it adds at the most and at the least."""


class Expander:
    """Expands the level of every return (frames, tracks) by the mean square of the last 20 ms."""

    def __init__(self, rate_hz: int, tracks: int) -> None:
        self._slow = float(np.exp(-1.0 / (DETECTOR_S * rate_hz)))
        self._state = np.zeros((1, tracks))

    def process(self, returns: F32) -> F32:
        """The returns of a block, expanded."""
        coefficients = [1.0 - self._slow], [1.0, -self._slow]
        power, self._state = scipy.signal.lfilter(
            *coefficients, returns.astype(np.float64) ** 2, axis=0, zi=self._state
        )
        level_db = 10.0 * np.log10(2.0 * power + 1e-20) - ZERO_VU_DBFS
        gain_db = np.clip((RATIO - 1.0) * level_db, LEAST_DB, MOST_DB)
        return np.asarray(returns * 10.0 ** (gain_db / 20.0), np.float32)
