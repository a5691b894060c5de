"""What a person without a bench has to read: a VU meter a track, and a phase meter on two tracks.

Every reading is what a skilled eye makes of it, error included.
"""

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from fluxbench.trade import VU_DAMPING, VU_NATURAL_RAD_PER_S

F64 = NDArray[np.float64]

FULL_SCALE_VU = 3.0
LOWEST_MARK_VU = -20.0
NEAR_ZERO_ERROR_DB = 0.1
LOWEST_MARK_ERROR_DB = 0.5
PHASE_ERROR_DEG = 15.0
FINEST_DB = 0.1
FINEST_DEG = 5.0


class VuNeedles:
    """The needles of all tracks: second-order movements on a scale that is even in voltage.

    Between two calls of `move` the rectified return stands still, so that the steps are exact.
    """

    def __init__(self, tracks: int, step_s: float) -> None:
        natural = VU_NATURAL_RAD_PER_S
        law = np.zeros((3, 3))
        law[0, 1] = 1.0
        law[1] = -(natural**2), -2.0 * VU_DAMPING * natural, natural**2
        self._step: F64 = scipy.linalg.expm(law * step_s)[:2]
        self._state = np.zeros((2, tracks))

    @property
    def deflection(self) -> F64:
        """Where the needles stand, as a share of the deflection at 0 VU, shape (tracks,)."""
        deflection: F64 = self._state[0]
        return deflection

    def move(self, amplitude: F64) -> F64:
        """Let a step pass with these tones, re 0 VU, shape (tracks,); gives the deflections."""
        self._state = self._step @ np.concatenate([self._state, amplitude[np.newaxis]])
        stops = np.clip(self._state[0], 0.0, 10.0 ** (FULL_SCALE_VU / 20.0))
        self._state[1, stops != self._state[0]] = 0.0
        self._state[0] = stops
        return self.deflection


def reading_error_db(scale_vu: float) -> float:
    """Standard deviation of a reading by a skilled eye, by where the needle stands on the scale.

    0.1 dB from 0 up, 0.5 dB at -20, evenly between: common practice, no source.
    """
    marks, errors_db = (LOWEST_MARK_VU, 0.0), (LOWEST_MARK_ERROR_DB, NEAR_ZERO_ERROR_DB)
    return float(np.interp(scale_vu, marks, errors_db))


def read_needle(deflection: float, rng: np.random.Generator) -> float:
    """What an eye reads off a needle, to 0.1 dB; NaN if it lies below the lowest mark."""
    if deflection < 10.0 ** (LOWEST_MARK_VU / 20.0):
        return float("nan")
    scale_vu = 20.0 * float(np.log10(deflection))
    seen = scale_vu + reading_error_db(scale_vu) * float(rng.standard_normal())
    return round(seen / FINEST_DB) * FINEST_DB


def read_phase(cross: complex, rng: np.random.Generator) -> float:
    """What an eye reads off a phase meter for mean(a conj(b)), in degrees, to 5, within 15."""
    error_deg = float(rng.uniform(-PHASE_ERROR_DEG, PHASE_ERROR_DEG))
    seen = float(np.degrees(np.angle(cross))) + error_deg
    return round(seen / FINEST_DEG) * FINEST_DEG
