"""Multitones of low crest factor: as much level a tone as full scale and the tape allow."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import SignalError
from fluxbench.signals._descriptions import Multitone

GRID_HZ = 0.5
"""Tones of a multitone stand on this grid, so that it repeats within 2 s and its peak is known."""

_CLIP_LEVELS = np.linspace(0.3, 0.95, 120)
_STARTS = 8
_LONG_FRAMES = 300_000
"""Fewer starts where a period is long: there the phases matter little."""


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
        Sample rate at which it will be sent, in Hz.
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
    The crest factor falls with the period, so choose frequencies with a large common divisor: odd
    multiples of 5 Hz repeat every 0.2 s, miss every mains line of 50 and 60 Hz, and come to about
    2.5 to 3, where 17 tones on the finest grid stay near 4.

    Start phases: Schroeder 1970, "Synthesis of low-peak-factor signals and binary sequences with
    low autocorrelation". Clip and restore: Van der Ouderaa, Schoukens and Renneboog 1988, "Peak
    factor minimization using a time-frequency domain swapping algorithm". Both from memory.

    Examples
    --------
    Two equal tones meet at their peaks: twice the peak over the square root of twice the power.

    >>> round(crest_factor(crest_optimised_multitone([95.0, 1005.0], -30.0, 48_000, seed=1)), 2)
    2.0
    """
    lines = _grid_lines(frequencies_hz, rate_hz)
    order = np.arange(len(lines))
    starts = [-np.pi * order * (order - 1) / len(lines)]
    if len(lines) > 2:
        random = np.random.default_rng(seed)
        while len(starts) < min(_STARTS, _LONG_FRAMES // _frames(lines, 8)):
            starts.append(random.uniform(-np.pi, np.pi, len(lines)))
        starts = [_improved(start, lines) for start in starts]
    phases_rad = min(starts, key=lambda phases: _highest(phases, lines, 8))
    return Multitone(
        tuple(float(line) * GRID_HZ for line in lines),
        level_dbfs_each,
        tuple(float(phase) for phase in phases_rad),
    )


def crest_factor(multitone: Multitone) -> float:
    """Peak over rms of a multitone, between its samples too."""
    power = 10.0 ** (multitone.level_dbfs_each / 10.0) * len(multitone.frequencies_hz) / 2.0
    return peak(multitone) / math.sqrt(power)


def peak(multitone: Multitone) -> float:
    """Peak of a multitone between its samples too, full scale = 1, at most 0.04 dB too high.

    Tones off the 0.5 Hz grid give the sum of the tones' peaks, which is never too low.
    """
    amplitude = 10.0 ** (multitone.level_dbfs_each / 20.0)
    frequencies = np.asarray(multitone.frequencies_hz, np.float64)
    lines = np.rint(frequencies / GRID_HZ).astype(np.int64)
    if len(lines) < 3 or np.any(lines * GRID_HZ != frequencies):
        return float(amplitude * len(lines))
    return float(amplitude * _highest(np.asarray(multitone.phases_rad), lines, 32))


def _grid_lines(frequencies_hz: Sequence[float], rate_hz: int) -> NDArray[np.int64]:
    if len(frequencies_hz) == 0:
        raise SignalError("a multitone needs at least one frequency")
    lines = np.sort(np.rint(np.asarray(frequencies_hz, np.float64) / GRID_HZ).astype(np.int64))
    if lines[0] < 1 or lines[-1] * GRID_HZ >= rate_hz / 2.0:
        raise SignalError(
            f"a multitone at {rate_hz} Hz needs tones from {GRID_HZ} Hz to below {rate_hz / 2:g} Hz"
        )
    if np.any(np.diff(lines) == 0):
        raise SignalError(f"two tones of the multitone are nearer than {GRID_HZ} Hz: drop one")
    return lines


def _frames(lines: NDArray[np.int64], points_per_cycle: int) -> int:
    """Points that sample one period, so many to a cycle of the highest tone."""
    highest = int(np.max(lines)) // math.gcd(*map(int, lines))
    return int(fft.next_fast_len(points_per_cycle * highest, real=True))


def _period(
    phases_rad: NDArray[np.float64], lines: NDArray[np.int64], frames: int
) -> NDArray[np.float64]:
    """One period of the sum of sines of amplitude 1."""
    spectrum = np.zeros(frames // 2 + 1, np.complex128)
    at = lines // math.gcd(*map(int, lines))
    np.add.at(spectrum, at, -0.5j * frames * np.exp(1j * phases_rad))
    return np.asarray(fft.irfft(spectrum, frames), np.float64)


def _highest(
    phases_rad: NDArray[np.float64], lines: NDArray[np.int64], points_per_cycle: int
) -> float:
    """Upper bound of the peak from one sampled period.

    A trigonometric polynomial exceeds its samples by no more than 1 / cos(pi / points per cycle)
    (Ehlich and Zeller 1964, from memory).
    """
    wave = _period(phases_rad, lines, _frames(lines, points_per_cycle))
    return float(np.max(np.abs(wave)) / np.cos(np.pi / points_per_cycle))


def _improved(phases_rad: NDArray[np.float64], lines: NDArray[np.int64]) -> NDArray[np.float64]:
    """Clip in time, restore amplitudes in frequency, again and again; keep the best phases."""
    frames, at = _frames(lines, 8), lines // math.gcd(*map(int, lines))
    best, best_peak = phases_rad, np.inf
    for clip_level in _CLIP_LEVELS:
        wave = _period(phases_rad, lines, frames)
        highest = float(np.max(np.abs(wave)))
        if highest < best_peak:
            best, best_peak = phases_rad, highest
        limit = clip_level * highest
        phases_rad = np.angle(1j * fft.rfft(np.clip(wave, -limit, limit))[at])
    return best
