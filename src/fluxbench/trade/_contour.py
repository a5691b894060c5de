"""The head bump: what the outer edges of the pole faces add at long waves."""

import numpy as np

from fluxbench.trade._values import Array, Values, decibels
from fluxbench.trade._waves import wave_number_per_mm


def contour_db(
    frequency_hz: Values, speed_ips: float, pole_length_mm: Values, decay_length_mm: Values
) -> Array:
    """Gain of the pole faces, re a head without ends.

    1 - [cos(kL/2) - k l sin(kL/2)]/(1 + (k l)^2), L the length of the pole faces, l the length in
    which the pole potential decays past each edge. By reciprocity; that the tail is exponential is
    an assumption, and absolute figures are weak (no published formula could be read).
    """
    k = wave_number_per_mm(frequency_hz, speed_ips)
    half = k * pole_length_mm / 2.0
    tail = k * decay_length_mm
    return decibels(1.0 - (np.cos(half) - tail * np.sin(half)) / (1.0 + tail**2))
