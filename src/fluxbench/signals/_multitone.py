"""Multitones of low crest factor: as much level a tone as full scale and the tape allow."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import SignalError
from fluxbench.signals._descriptions import Multitone

GRID_HZ = 0.5
"""Tones of a multitone stand on this grid, so that it repeats every 2 s and its peak is known."""

_ITERATIONS = 60
_STARTS = 3


def crest_optimised_multitone(
    frequencies_hz: Sequence[float], level_dbfs_each: float, rate_hz: int, seed: int
) -> Multitone:
    """Choose phases that keep the peak of many equal tones low.

    Phases start from Schroeder's rule and from `seed`ed random ones; each start is improved by
    clipping the peaks in time and restoring the amplitudes in frequency; the best one is kept.

    Parameters
    ----------
    frequencies_hz
        The wanted tones; each is moved to the nearest multiple of 0.5 Hz.
    level_dbfs_each
        Level of every tone, full-scale sine = 0.
    rate_hz
        Sample rate at which the peak is made low, in Hz.
    seed
        Same seed, same phases.

    Returns
    -------
    Multitone
        With the frequencies that are really sent; `crest_factor` tells how well it worked.

    Raises
    ------
    SignalError
        No tone, two on the same grid frequency, or one not between 0 and half the rate.

    Notes
    -----
    Start phases: M. R. Schroeder, "Synthesis of low-peak-factor signals and binary sequences
    with low autocorrelation", IEEE Trans. Inf. Theory 16 (1970). Clip and restore: E. Van der
    Ouderaa, J. Schoukens, J. Renneboog, "Peak factor minimization using a time-frequency domain
    swapping algorithm", IEEE Trans. Instrum. Meas. 37 (1988). Both from memory.

    Examples
    --------
    A single sine has a crest factor of the square root of two.

    >>> round(crest_factor(crest_optimised_multitone([1000.0], -30.0, 48_000, seed=1), 48_000), 4)
    1.4142
    """
    bins = _bins(frequencies_hz, rate_hz)
    count = len(bins)
    random = np.random.default_rng(seed)
    order = np.arange(count)
    starts = [-np.pi * order * (order - 1) / count]
    starts += [random.uniform(-np.pi, np.pi, count) for _ in range(_STARTS - 1 if count > 2 else 0)]
    phases = min(
        (_improved(start, bins, rate_hz) for start in starts),
        key=lambda phases: float(np.max(np.abs(_period(phases, bins, rate_hz)))),
    )
    return Multitone(
        tuple(float(b) * GRID_HZ for b in bins), level_dbfs_each, tuple(map(float, phases))
    )


def crest_factor(multitone: Multitone, rate_hz: int) -> float:
    """Peak over rms of a multitone as sampled at `rate_hz`."""
    rms = 10.0 ** (multitone.level_dbfs_each / 20.0) * np.sqrt(len(multitone.frequencies_hz) / 2.0)
    return peak(multitone, rate_hz) / float(rms)


def peak(multitone: Multitone, rate_hz: int) -> float:
    """Return the greatest sample of a multitone (full scale = 1).

    Exact for tones on the 0.5 Hz grid, else the sum of the tones' peaks, which is never too small.
    """
    amplitude = 10.0 ** (multitone.level_dbfs_each / 20.0)
    frequencies = np.asarray(multitone.frequencies_hz)
    bins = np.rint(frequencies / GRID_HZ).astype(np.int64)
    if np.any(bins * GRID_HZ != frequencies) or len(np.unique(bins)) < len(bins):
        return float(amplitude * len(bins))
    phases = np.asarray(multitone.phases_rad)
    return float(amplitude * np.max(np.abs(_period(phases, bins, rate_hz))))


def _bins(frequencies_hz: Sequence[float], rate_hz: int) -> NDArray[np.int64]:
    if len(frequencies_hz) == 0:
        raise SignalError("a multitone needs at least one frequency")
    bins = np.sort(np.rint(np.asarray(frequencies_hz, np.float64) / GRID_HZ).astype(np.int64))
    if bins[0] < 1 or bins[-1] * GRID_HZ >= rate_hz / 2.0:
        raise SignalError(
            f"a multitone at {rate_hz} Hz needs tones from {GRID_HZ} Hz to below {rate_hz / 2:g} Hz"
        )
    if np.any(np.diff(bins) == 0):
        raise SignalError(f"two tones of the multitone are nearer than {GRID_HZ} Hz: drop one")
    return bins


def _frames(rate_hz: int) -> int:
    return round(rate_hz / GRID_HZ)


def _period(
    phases_rad: NDArray[np.float64], bins: NDArray[np.int64], rate_hz: int
) -> NDArray[np.float64]:
    """One period of sines of amplitude 1."""
    frames = _frames(rate_hz)
    spectrum = np.zeros(frames // 2 + 1, np.complex128)
    spectrum[bins] = -0.5j * frames * np.exp(1j * phases_rad)
    return np.asarray(fft.irfft(spectrum, frames), np.float64)


def _improved(
    phases_rad: NDArray[np.float64], bins: NDArray[np.int64], rate_hz: int
) -> NDArray[np.float64]:
    """Clip in time, restore amplitudes in frequency, again and again; keep the best phases."""
    best, best_peak = phases_rad, np.inf
    for step in range(_ITERATIONS):
        wave = _period(phases_rad, bins, rate_hz)
        highest = float(np.max(np.abs(wave)))
        if highest < best_peak:
            best, best_peak = phases_rad, highest
        limit = highest * (0.80 + 0.18 * step / _ITERATIONS)
        clipped = fft.rfft(np.clip(wave, -limit, limit))
        phases_rad = np.angle(1j * clipped[bins])
    return best
