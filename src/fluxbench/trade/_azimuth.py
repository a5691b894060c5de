"""Azimuth between two tracks: delay = distance x tan(angle) / speed, and the phase it makes."""

import numpy as np

from fluxbench.trade._losses import RADIANS_PER_ARCMIN
from fluxbench.trade._values import Array, Values
from fluxbench.trade._waves import speed_mm_per_s


def delay_us(azimuth_arcmin: Values, distance_mm: Values, speed_ips: float) -> Array:
    """Delay between tracks whose centres are `distance_mm` apart."""
    slant_mm = distance_mm * np.tan(RADIANS_PER_ARCMIN * np.asarray(azimuth_arcmin))
    return 1e6 * slant_mm / speed_mm_per_s(speed_ips)


def phase_deg(
    azimuth_arcmin: Values, distance_mm: Values, speed_ips: float, frequency_hz: Values
) -> Array:
    """Phase between such tracks, not wrapped: beyond half a turn a phase meter shows another."""
    return 360e-6 * frequency_hz * delay_us(azimuth_arcmin, distance_mm, speed_ips)


def azimuth_from_delay_arcmin(delay_us: Values, distance_mm: Values, speed_ips: float) -> Array:
    """The azimuth that a delay between two tracks stands for."""
    slant_mm = 1e-6 * np.asarray(delay_us, dtype=np.float64) * speed_mm_per_s(speed_ips)
    return np.arctan(slant_mm / distance_mm) / RADIANS_PER_ARCMIN
