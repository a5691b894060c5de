"""Speed, frequency and wavelength on tape: wavelength = speed / frequency."""

import numpy as np

from fluxbench.trade._values import Array, Values

MM_PER_INCH = 25.4


def pitch(frequency_hz: float) -> str:
    """A frequency in words: in Hz below 1000 Hz and in kHz from there on."""
    if frequency_hz < 1000.0:
        return f"{frequency_hz:g} Hz"
    return f"{frequency_hz / 1000.0:g} kHz"


def speed_mm_per_s(speed_ips: float) -> float:
    """Tape speed in mm/s."""
    return speed_ips * MM_PER_INCH


def wavelength_um(frequency_hz: Values, speed_ips: float) -> Array:
    """Wavelength on tape of a frequency."""
    return 1000.0 * speed_mm_per_s(speed_ips) / np.asarray(frequency_hz, dtype=np.float64)


def frequency_hz(wavelength_um: Values, speed_ips: float) -> Array:
    """Frequency of a wavelength on tape."""
    return 1000.0 * speed_mm_per_s(speed_ips) / np.asarray(wavelength_um, dtype=np.float64)


def wave_number_per_mm(frequency_hz: Values, speed_ips: float) -> Array:
    """k = 2 pi / wavelength."""
    return 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64) / speed_mm_per_s(speed_ips)
