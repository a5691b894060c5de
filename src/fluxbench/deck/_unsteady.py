"""How the tape runs over one head: contact that comes and goes, skew that wanders."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._machine import Machine
from fluxbench.deck._random import Band, SlowNoise, neighbours
from fluxbench.trade import RADIANS_PER_ARCMIN

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

CONTACT_UM = (Band(0.5, 10.0, 0.08), Band(0.02, 0.3, 0.03))
"""Rms of the spacing, 0.05 to 0.2 um in all; from memory."""
SKEW_ARCMIN_AT_QUARTER_INCH = 0.4


class Unsteady:
    """Spacing and skew at one head."""

    def __init__(self, machine: Machine, rng: np.random.Generator) -> None:
        bands = [Band(b.low_hz, b.high_hz, b.rms_ratio * machine.contact_ratio) for b in CONTACT_UM]
        self._contact = SlowNoise(bands, neighbours(machine.tracks, 0.4), rng)
        width = (6.3 / machine.layout.tape_width_mm) ** 0.6
        skew = Band(0.2, 2.0, SKEW_ARCMIN_AT_QUARTER_INCH * width)
        self._skew = SlowNoise([skew], np.ones((1, 1)), rng)
        across_um = 1000.0 * machine.layout.positions_mm
        self._s_per_rad = across_um / machine.speed_um_per_s

    def spacing_um(self, start_s: float, count: int, per_s: float) -> F32:
        """Spacing (count, tracks) about its mean, so many a second."""
        return self._contact.over(start_s, count, per_s)

    def delay_s(self, time_s: float, azimuth_arcmin: float) -> F64:
        """Delay of each track by azimuth and skew at one time."""
        arcmin = azimuth_arcmin + self._skew.at(time_s)[0]
        return np.asarray(self._s_per_rad * np.tan(RADIANS_PER_ARCMIN * arcmin))
