"""Harmonics of a tone, each as band power with the noise beside it taken off."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._frequency import ORDERS, HeardTone, half_band_hz, hear
from fluxbench.measure._spectrum import Samples, band_tone
from fluxbench.measure._validity import downgraded

_LEAST = 1e-6
"""Amplitude over the fundamental below which arithmetic, not a deck, may be what is heard."""


@dataclass(frozen=True, slots=True)
class HarmonicsReading:
    """Second to fifth harmonic; arrays have shape (orders, tracks), NaN where not valid.

    `percent` is each harmonic's amplitude over the fundamental's, `total_percent` (tracks,) the
    root of the sum of squares of the valid ones. A harmonic that does not stand out of the noise,
    or lies above what the rate can hold, is `NO_SIGNAL`; on a track whose fundamental is not
    valid they all have the fundamental's validity.
    """

    fundamental_hz: float
    orders: tuple[int, ...]
    percent: NDArray[np.float64]
    standard_error_percent: NDArray[np.float64]
    validity: tuple[tuple[Validity, ...], ...]
    total_percent: NDArray[np.float64]
    limit_percent: NDArray[np.float64]
    """What the noise would have hidden (orders, tracks): where a harmonic is `NO_SIGNAL` it lies
    below; NaN where the fundamental is not valid or the rate cannot hold it."""


def harmonics(samples: Samples, rate_hz: float, frequency_hz: float) -> HarmonicsReading:
    """Measure the harmonics of a tone on every track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1.
    rate_hz
        Sample rate in Hz.
    frequency_hz
        Nominal frequency of the fundamental in Hz; it may lie 5 % off.

    Returns
    -------
    HarmonicsReading
        Orders 2 to 5.

    Raises
    ------
    MisuseError
        Samples are not (frames, tracks), or the frequency is not between 0 and half the rate.

    Notes
    -----
    Flutter spreads a harmonic as widely as a tone of its frequency, so its band is that tone's:
    the larger of 20 Hz and 1.5 %, but never more than a third of the fundamental. The error is
    what the noise beside the harmonic must give (Cramér-Rao bound of an amplitude).

    Examples
    --------
    A third harmonic of a hundredth of the amplitude is 1 %.

    >>> angle = 2 * np.pi * 1000 * np.arange(96_000) / 48_000
    >>> noise = 1e-5 * np.random.default_rng(1).standard_normal(96_000)
    >>> wave = 0.1 * np.sin(angle) + 0.001 * np.sin(3 * angle) + noise
    >>> reading = harmonics(wave[:, None], 48_000, 1000.0)
    >>> round(float(reading.percent[1, 0]), 2), reading.validity[0][0].value
    (1.0, 'no_signal')
    """
    return harmonics_of(hear(samples, rate_hz, frequency_hz))


def harmonics_of(tone: HeardTone) -> HarmonicsReading:
    """Work out the harmonics of a tone that was heard, as `harmonics` does."""
    fundamental_hz, count = tone.envelope.centre_hz, len(tone.validity)
    percent, error, limit = np.full((3, len(ORDERS), count), np.nan)
    validity = []
    for row, (order, band) in enumerate(zip(ORDERS, tone.overtones, strict=True)):
        centre_hz = order * fundamental_hz
        half_hz = min(half_band_hz(centre_hz), fundamental_hz / 3.0)
        inside = band_tone(band, centre_hz, half_hz, min(3.0 * half_hz, fundamental_hz / 2.0))
        relative = np.sqrt(np.maximum(inside.power, 0.0) / np.maximum(tone.inside.power, 1e-30))
        heard = tone.valid & inside.heard & (relative > _LEAST)
        held = tone.valid & (centre_hz + 1.5 * half_hz < tone.rate_hz / 2.0)
        heard &= held
        least = np.sqrt(inside.hidden_power / np.maximum(tone.inside.power, 1e-30))
        limit[row, held] = 100.0 * np.maximum(least, _LEAST)[held]
        percent[row, heard] = 100.0 * relative[heard]
        error[row, heard] = (percent[row] * inside.relative_error())[heard]
        validity.append(downgraded(tone.validity, heard, Validity.NO_SIGNAL))
    total = np.sqrt(np.nansum(percent**2, axis=0))
    total[np.isnan(percent).all(axis=0)] = np.nan
    return HarmonicsReading(fundamental_hz, ORDERS, percent, error, tuple(validity), total, limit)
