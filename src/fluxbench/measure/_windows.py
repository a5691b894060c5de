"""Windows and the low-pass that come from them.

The general library has all three; it takes half as much memory again as a capture of any length.
"""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


def raised_cosine(frames: int) -> F64:
    """A raised cosine whose period is `frames`, shape (frames,), for spectra; it begins with 0.

    Examples
    --------
    >>> raised_cosine(4).round(3).tolist()
    [0.0, 0.5, 1.0, 0.5]
    """
    return np.asarray(0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(frames) / frames))


def kaiser_beta(stop_db: float) -> float:
    """The shape of Kaiser's window for a stop band of so many dB, 50 or more (Kaiser 1974)."""
    return 0.1102 * (stop_db - 8.7)


def kaiser_taps(stop_db: float, transition_hz: float, rate_hz: float) -> int:
    """How many taps a low-pass needs for a stop band and a transition (Kaiser 1974)."""
    return int(np.ceil((stop_db - 7.95) / (2.285 * 2.0 * np.pi * transition_hz / rate_hz) + 1.0))


def kaiser_low_pass(taps: int, cut_off_hz: float, rate_hz: float, stop_db: float) -> F64:
    """A low-pass without phase, shape (taps,), of gain 1 at 0 Hz: a sine over its angle, windowed.

    Parameters
    ----------
    taps
        An odd number.
    cut_off_hz
        Where it passes half of the amplitude; the middle of the transition.
    rate_hz
        Sample rate in Hz.
    stop_db
        What the stop band is below, 50 or more.

    Examples
    --------
    >>> low = kaiser_low_pass(65, 1000.0, 48_000, 80.0)
    >>> round(float(low.sum()), 12), bool(low[32] == low.max())
    (1.0, True)
    """
    place = np.arange(taps) - 0.5 * (taps - 1)
    shape = np.sinc(2.0 * cut_off_hz / rate_hz * place) * np.kaiser(taps, kaiser_beta(stop_db))
    return np.asarray(shape / shape.sum())
