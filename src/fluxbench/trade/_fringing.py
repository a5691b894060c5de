"""Flux beside a track that its core still picks up: a thin half-plane core, exact field.

The kernel is closed form; as physics it holds to 1 or 2 dB (McKnight 1978 calls calculated
fringing corrections inaccurate at the lowest frequencies).
"""

import numpy as np

from fluxbench.trade._values import Array, Values, decibels
from fluxbench.trade._waves import wave_number_per_mm


def fringing_rise_db(
    frequency_hz: Values,
    speed_ips: float,
    track_width_mm: Values,
    free_side_1_mm: Values,
    free_side_2_mm: Values,
) -> Array:
    """Rise by flux recorded beyond both edges of a core, re the flux under the core alone.

    20 lg(1 + [F(k s1) + F(k s2)]/(k w)); `free_side_*_mm` are s1 and s2, the recorded width beyond
    each edge.
    """
    k = wave_number_per_mm(frequency_hz, speed_ips)
    beside = _kernel(k * free_side_1_mm) + _kernel(k * free_side_2_mm)
    return decibels(1.0 + beside / (k * track_width_mm))


def side_crosstalk_db(
    frequency_hz: Values, speed_ips: float, track_width_mm: Values, guard_mm: Values
) -> Array:
    """What a core reads of one neighbouring track `guard_mm` away, re its own track.

    20 lg [F(k (g + w)) - F(k g)]/(k w); no shield between the cores, which takes off 5 to 10 dB
    more (from memory).
    """
    k = wave_number_per_mm(frequency_hz, speed_ips)
    # F nears 1/2 at both ends of a short wave: the difference of what is missing keeps its digits.
    beside = _missing(k * guard_mm) - _missing(k * (guard_mm + np.asarray(track_width_mm)))
    return decibels(beside / (k * track_width_mm))


def _kernel(u: Array) -> Array:
    """F(u) = u erfc(sqrt u) + erf(sqrt u)/2 - sqrt(u/pi) e^-u."""
    from scipy.special import erf, erfc  # slow to import, and little else here needs it

    root = np.sqrt(u)
    rise: Array = u * erfc(root) + erf(root) / 2.0 - root * np.exp(-u) / np.sqrt(np.pi)
    return rise


def _missing(u: Array) -> Array:
    """1/2 - F(u)."""
    from scipy.special import erfc

    root = np.sqrt(u)
    missing: Array = erfc(root) * (0.5 - u) + root * np.exp(-u) / np.sqrt(np.pi)
    return missing
