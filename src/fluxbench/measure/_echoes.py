"""Echoes of a loud burst of a tone a turn of the reel before and after it: print-through."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._spectrum import Samples, checked
from fluxbench.measure._unwanted import RelativeReading, print_through

F64 = NDArray[np.float64]

HOP_S = 0.01
_WINDOW_HOPS = 20
_GUARD_HOPS = 4
"""Where the burst begins and ends is known to 20 ms, and it is a thousand times louder."""
_INDEPENDENT_S = 0.13
"""A raised cosine of 0.2 s lets 7.5 Hz through."""
APART_S = 0.3
"""An echo begins so long after the burst ends, or it is not told from it."""
LONGEST_TURN_S = 4.4
"""A full pack of 267 mm at 7 1/2 in/s turns in 4.2 s."""
_EDGE_S = 0.05
_SURE = 8.0
_STANDS_OUT = 1.3
_QUARTER = 0.2877
"""Of an exponential distribution a quarter lies below so much of its mean: -ln(3/4)."""


@dataclass(frozen=True, slots=True)
class EchoesReading:
    """Echoes of a burst, re the burst; `turn_s` is how far off they lie, both alike.

    `turn_s` is known to about 0.02 s; it is NaN where no echo stands out of the noise, and the
    tracks are `NO_SIGNAL` then, with a limit.
    """

    turn_s: float
    before: RelativeReading
    after: RelativeReading


def narrow_powers(samples: Samples, rate_hz: float, frequency_hz: float) -> F64:
    """Power of a narrow band (a raised cosine of 0.2 s) every 10 ms, shape (hops, tracks).

    What is more than 0.1 s away does not count at all, however loud.

    Examples
    --------
    >>> sine = 0.2 * np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)[:, None]
    >>> powers = narrow_powers(sine, 48_000, 1000.0)
    >>> len(powers), round(float(powers[50, 0]), 6)
    (100, 0.02)
    """
    samples = checked(samples, rate_hz, frequency_hz)
    frames = max(round(HOP_S * rate_hz), 1)
    hops = len(samples) // frames
    turn = 2.0 * np.pi * frequency_hz / rate_hz
    wave = np.exp(-1j * turn * np.arange(frames)) / frames
    mixer = np.stack([wave.real, wave.imag]).astype(samples.dtype)
    held = np.empty((hops, samples.shape[1]), np.complex128)
    for track, column in enumerate(samples.T):
        parts = mixer @ column[: hops * frames].reshape(hops, frames).T
        held[:, track] = parts[0] + 1j * parts[1]
    held *= np.exp(-1j * turn * frames * np.arange(hops))[:, None]
    window = np.hanning(_WINDOW_HOPS + 1)[:, None]
    padded = np.pad(held, ((_WINDOW_HOPS // 2, _WINDOW_HOPS // 2), (0, 0)))
    smooth = np.zeros_like(held)
    for k, weight in enumerate(window):
        smooth += weight / window.sum() * padded[k : k + hops]
    return np.asarray(2.0 * np.abs(smooth) ** 2)


def turn_of(powers: F64, start_s: float, end_s: float) -> float:
    """How far before and after a burst its echoes lie, in s; NaN if none stands out.

    Parameters
    ----------
    powers
        From `narrow_powers`, of a reel that is silent but for the burst and its echoes.
    start_s, end_s
        Of the burst, from the first hop.

    Notes
    -----
    The burst's own power is slid along both sides at once, all tracks together, each re its
    noise. A place counts if noise would not do the same: more than 8 standard deviations and
    1.3 times the median place. The limits are our choice.
    """
    begin, end = round(start_s / HOP_S), round(end_s / HOP_S)
    reach = _WINDOW_HOPS // 2 + _GUARD_HOPS
    low, high = max(begin - reach, 0), min(end + reach, len(powers))
    shape = powers[low:high].sum(axis=1)
    shape = shape / max(float(shape.sum()), 1e-30)
    quiet = np.concatenate([powers[: max(low - 2, 0)], powers[high + 2 :]])
    furthest = min(low, len(powers) - high, round(LONGEST_TURN_S / HOP_S))
    if len(quiet) == 0 or furthest <= high - low:
        return np.nan
    floor = np.quantile(quiet, 0.25, axis=0) / _QUARTER
    told = powers[:, floor > 0.0] / floor[floor > 0.0]
    if told.shape[1] == 0:
        return np.nan
    mean = told.mean(axis=1)
    turns = np.arange(high - low, furthest + 1)
    score = np.array(
        [0.5 * shape @ (mean[low - t : high - t] + mean[low + t : high + t]) for t in turns]
    )
    return _best(score, turns, (end - begin) * HOP_S, told.shape[1])


def _best(score: F64, turns: NDArray[np.int_], burst_s: float, tracks: int) -> float:
    """The highest place, by a parabola, if noise does not make it."""
    if len(score) < 3:
        return np.nan
    top = int(np.argmax(score))
    independent = max(burst_s / _INDEPENDENT_S, 1.0) * 2.0 * tracks
    least = max(1.0 + _SURE / np.sqrt(independent), _STANDS_OUT * float(np.median(score)))
    if not score[top] > least or top in (0, len(score) - 1):
        return np.nan
    before, at, after = score[top - 1 : top + 2]
    bend = before - 2.0 * at + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float((turns[top] + shift) * HOP_S)


def echoes(
    samples: Samples,
    rate_hz: float,
    frequency_hz: float,
    start_s: float,
    end_s: float,
    turn_s: float | None = None,
) -> EchoesReading:
    """Measure the echoes before and after a burst of a tone, re the burst.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; silent but for the burst and its echoes, a turn of
        the reel to either side of it.
    rate_hz, frequency_hz
        Sample rate and the tone's frequency in Hz, within 1 %.
    start_s, end_s
        Of the burst, from the first frame; shorter than a turn by 0.3 s or more.
    turn_s
        How far off they lie, where it is known (`trade.echo_delay_s`); else it is looked for.

    Returns
    -------
    EchoesReading
        Each echo as `print_through` gives it.

    Raises
    ------
    MisuseError
        Wrong shape or frequency, or a burst that does not lie inside.

    Examples
    --------
    Half a second of 1 kHz, its print 1.5 s before and after, 56 and 52 dB weaker.

    >>> time_s = np.arange(5 * 48_000) / 48_000
    >>> wave = 1e-6 * np.random.default_rng(1).standard_normal(len(time_s))
    >>> for at_s, level_db in ((2.2, 0.0), (0.7, -56.0), (3.7, -52.0)):
    ...     sounds = (time_s >= at_s) & (time_s < at_s + 0.5)
    ...     wave += 0.3 * 10 ** (level_db / 20) * sounds * np.sin(2000 * np.pi * (time_s - at_s))
    >>> read = echoes(wave[:, None], 48_000, 1000.0, 2.2, 2.7)
    >>> round(read.turn_s, 2), round(float(read.before.level_db[0])), round(
    ...     float(read.after.level_db[0])
    ... )
    (1.5, -56, -52)
    """
    duration_s = len(checked(samples, rate_hz, frequency_hz)) / rate_hz
    if not 0.0 <= start_s < end_s <= duration_s:
        raise MisuseError(f"no burst from {start_s:g} to {end_s:g} s in {duration_s:g} s")
    if turn_s is None:
        turn_s = turn_of(narrow_powers(samples, rate_hz, frequency_hz), start_s, end_s)
    away_s = end_s - start_s + APART_S if np.isnan(turn_s) else turn_s
    loud = _cut(samples, rate_hz, start_s, end_s)
    before, after = (
        print_through(
            loud, _cut(samples, rate_hz, start_s + way, end_s + way), rate_hz, frequency_hz
        )
        for way in (-away_s, away_s)
    )
    if np.isnan(turn_s):
        before, after = _hidden(before), _hidden(after)
    return EchoesReading(turn_s, before, after)


def _cut(samples: Samples, rate_hz: float, start_s: float, end_s: float) -> Samples:
    """What lies between, without its edges; nothing of what lies outside the samples."""
    first = max(round((start_s + _EDGE_S) * rate_hz), 0)
    return samples[first : max(round((end_s - _EDGE_S) * rate_hz), first)]


def _hidden(reading: RelativeReading) -> RelativeReading:
    """Where no echo was found whatever stands there is none: it lies below that."""
    nothing = np.full(len(reading.validity), np.nan)
    told = tuple(Validity.NO_SIGNAL if v is Validity.OK else v for v in reading.validity)
    limit_db = np.fmax(reading.limit_db, reading.level_db)
    return replace(
        reading, level_db=nothing, standard_error_db=nothing, limit_db=limit_db, validity=told
    )
