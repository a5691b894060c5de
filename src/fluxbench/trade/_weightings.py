"""Weightings of noise and flutter over frequency, each in dB re its reference frequency."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.trade._values import Array, Values, decibels

A_WEIGHTING_POLES_HZ = (
    20.598997057618316,
    20.598997057618316,
    107.65264864304629,
    737.8622307362901,
    12194.217147998012,
    12194.217147998012,
)
"""Real poles of the A-weighting, which has four zeros at 0 (IEC 61672-1:2013 Annex E)."""

BS468_POLES_RAD_PER_S = (
    -62675.17005847,
    -25903.70104782,
    -23615.53521364 + 36379.90893733j,
    -23615.53521364 - 36379.90893733j,
    -18743.74669072 + 62460.15645251j,
    -18743.74669072 - 62460.15645251j,
)
"""Poles of the passive network of ITU-R BS.468-4 Fig. 1a, which has one zero at 0."""

FLUTTER_WEIGHTING_DB = (
    (0.1, -48.0),
    (0.2, -30.6),
    (0.315, -19.7),
    (0.4, -15.0),
    (0.63, -8.4),
    (0.8, -6.0),
    (1.0, -4.2),
    (1.6, -1.8),
    (2.0, -0.9),
    (4.0, 0.0),
    (6.3, -0.9),
    (10.0, -2.1),
    (20.0, -5.9),
    (40.0, -10.4),
    (63.0, -14.2),
    (100.0, -17.3),
    (200.0, -23.0),
)
"""Frequency in Hz and weight in dB: IEC 60386:1972 Table I, from memory; no closed form exists."""


def a_weighting_db(frequency_hz: Values) -> Array:
    """A-weighting, 0 dB at 1 kHz (IEC 61672-1:2013 Annex E)."""
    return _a_db(frequency_hz) - _a_db(1000.0)


def bs468_weighting_db(frequency_hz: Values) -> Array:
    """Noise weighting of ITU-R BS.468-4, 0 dB at 1 kHz."""
    return _bs468_db(frequency_hz) - _bs468_db(1000.0)


def bs468_response(frequency_hz: Values) -> NDArray[np.complex128]:
    """The same network with its phase, as a gain of size 1 at 1 kHz."""
    return np.asarray(_bs468(frequency_hz) / np.abs(_bs468(1000.0)))


def flutter_weighting_db(frequency_hz: Values) -> Array:
    """Flutter weighting, 0 dB at 4 Hz: the table, straight over log frequency between its points.

    Beyond the table the last slopes go on; 0 Hz gives minus infinity.
    """
    table_hz, table_db = np.array(FLUTTER_WEIGHTING_DB).T
    octaves = np.log2(table_hz)
    with np.errstate(divide="ignore"):
        at = np.log2(np.asarray(frequency_hz, dtype=np.float64))
    slopes = np.diff(table_db) / np.diff(octaves)
    below_db = np.minimum(at - octaves[0], 0.0) * slopes[0]
    above_db = np.maximum(at - octaves[-1], 0.0) * slopes[-1]
    weight_db: Array = np.interp(at, octaves, table_db) + below_db + above_db
    return weight_db


def _a_db(frequency_hz: Values) -> Array:
    squared = np.asarray(frequency_hz, dtype=np.float64) ** 2
    poles = np.prod([np.sqrt(squared + pole**2) for pole in A_WEIGHTING_POLES_HZ], axis=0)
    return decibels(squared**2 / poles)


def _bs468_db(frequency_hz: Values) -> Array:
    return decibels(np.abs(_bs468(frequency_hz)))


def _bs468(frequency_hz: Values) -> NDArray[np.complex128]:
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    response = s
    for pole in BS468_POLES_RAD_PER_S:
        response = response / (s - pole)
    return np.asarray(response, np.complex128)
