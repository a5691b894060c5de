"""A sweep that glides evenly over log frequency: the response along it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import half_band_hz
from fluxbench.measure._response import ResponseReading
from fluxbench.measure._spectrum import Samples, checked
from fluxbench.measure._tone import dbfs
from fluxbench.measure._validity import downgraded, usable, waveform_validity
from fluxbench.measure._windows import raised_cosine

F64 = NDArray[np.float64]

_HOP_S = 0.025
_FRAME_S = 0.1
_EVEN = 0.05
"""A hop counts for the sweep if it lies within 5 % of it."""
_REACH_OCTAVES = 1.0 / 12.0
_LEAST_PERIODS = 4.0
_SURE = 5.0
_LEAST_HOPS = 8
_LEAST_PART = 0.6
_STEPS_AN_OCTAVE = 12
_BESIDE_STEPS = 12
"""To either side: levels that far apart have hardly a sample in common."""
_FOURTH = np.array([1.0, -4.0, 6.0, -4.0, 1.0])
_LEAST_DIFFERENCES = 5
_METHOD_DB = 0.002
"""Of an exact sweep through a smooth response: measured."""


def sweep_levels(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> ResponseReading:
    """Measure the level at some frequencies while one sweep glides over log frequency.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; the sweep and little else, up or down.
    rate_hz
        Sample rate in Hz.
    frequencies_hz
        Where to measure, in Hz.

    Returns
    -------
    ResponseReading
        `NO_SIGNAL` where the sweep does not come by or does not stand out, `TOO_SHORT` where it
        begins or ends too near, `UNSTABLE` on all tracks if there is no even sweep.

    Raises
    ------
    MisuseError
        Wrong shape, or a frequency not between 0 and half the rate.

    Notes
    -----
    A line is laid through log frequency over time of the strongest lines. Around each frequency
    a twelfth of an octave (four periods at least) to either side is turned back by the sweep's
    own law, so that it stands still, and measured as band power like a tone.

    A sweep passes each frequency once, so how its level wanders meanwhile cannot be read there. It
    is read from levels twelve to an octave, over an octave to either side: their fourth differences
    hold next to nothing of a smooth response, and 70 times the variance of what has no memory.
    The error is the larger of that and what the noise must give, and 0.002 dB at the least.

    Examples
    --------
    >>> time_s = np.arange(5 * 48_000) / 48_000
    >>> angle = 2 * np.pi * 50 * np.expm1(time_s) / 1.0
    >>> reading = sweep_levels(0.1 * np.sin(angle)[:, None], 48_000, [100.0, 1000.0])
    >>> [round(float(level), 2) for level in reading.level_dbfs[:, 0]]
    [-20.0, -20.0]
    """
    wanted_hz = np.asarray(frequencies_hz, np.float64)
    if wanted_hz.size == 0:
        raise MisuseError("no frequencies for the sweep: name some")
    samples = checked(samples, rate_hz, *map(float, wanted_hz))
    told = waveform_validity(samples, rate_hz, float(np.median(wanted_hz)))
    fit = usable(samples, rate_hz, told)
    law = sweep_law(fit, rate_hz)
    shape = (len(wanted_hz), len(told))
    if law is None:
        unstable = downgraded(told, np.zeros(len(told), bool), Validity.UNSTABLE)
        return ResponseReading(
            wanted_hz, np.nan, np.full(shape, np.nan), np.full(shape, np.nan),
            (unstable,) * len(wanted_hz),
        )  # fmt: skip
    wander_db = _wander_db(fit, rate_hz, wanted_hz, *law)
    levels, errors, validity = np.full(shape, np.nan), np.full(shape, np.nan), []
    for row, frequency_hz in enumerate(wanted_hz):
        power, error_db, reason = _at(fit, rate_hz, float(frequency_hz), *law)
        heard = np.isfinite(error_db)
        here = downgraded(told, heard, reason)
        ok = np.array([v is Validity.OK for v in here], bool)
        levels[row, ok], errors[row, ok] = dbfs(power[ok]), np.fmax(error_db, wander_db[row])[ok]
        validity.append(here)
    return ResponseReading(wanted_hz, 1.0, levels, errors, tuple(validity))


def _wander_db(samples: Samples, rate_hz: float, wanted_hz: F64, start: float, slope: float) -> F64:
    """Standard deviation of a level by what wanders while the sweep goes on, (points, tracks)."""
    octaves = np.log2(wanted_hz)
    low, high = octaves.min() - 1.0, min(octaves.max() + 1.0, np.log2(0.49 * rate_hz))
    at = np.arange(low, high, 1.0 / _STEPS_AN_OCTAVE)
    power = np.array([_at(samples, rate_hz, 2.0**one, start, slope)[:2] for one in at])
    level = 10.0 * np.log10(np.where(np.isfinite(power[:, 1]), power[:, 0], np.nan))
    fourth = sum(weight * level[k : len(level) - 4 + k] for k, weight in enumerate(_FOURTH))
    wander = np.full((len(wanted_hz), samples.shape[1]), _METHOD_DB)
    for row, octave in enumerate(octaves):
        near = np.abs(at[2:-2] - octave) * _STEPS_AN_OCTAVE <= _BESIDE_STEPS
        squares = fourth[near] ** 2 / (_FOURTH @ _FOURTH)
        known = np.isfinite(squares).sum(axis=0)
        mean = np.nansum(squares, axis=0) / np.maximum(known, 1)
        seen = known >= _LEAST_DIFFERENCES
        wander[row] = np.hypot(_METHOD_DB, np.where(seen, np.sqrt(mean), 0.0))
    return wander


def sweep_law(samples: Samples, rate_hz: float) -> tuple[float, float] | None:
    """Log of the frequency in Hz at the first frame, and how much it grows a second.

    None if the strongest lines do not lie along one straight line.
    """
    frame = int(fft.next_fast_len(round(_FRAME_S * rate_hz), real=True))
    hop = max(round(_HOP_S * rate_hz), 1)
    starts = np.arange(0, len(samples) - frame, hop)
    if len(starts) < _LEAST_HOPS:
        return None
    window = raised_cosine(frame).astype(np.float32)
    found_hz = np.empty(len(starts))
    for index, start in enumerate(starts):
        power = np.zeros(frame // 2 + 1)
        for track in range(samples.shape[1]):
            line = fft.rfft(samples[start : start + frame, track] * window)
            power += line.real**2 + line.imag**2
        found_hz[index] = peak_line(power) * rate_hz / frame
    time_s = np.asarray((starts + frame / 2) / rate_hz, np.float64)
    octaves = np.log(np.maximum(found_hz, 1.0))
    return _line_through(time_s, np.asarray(octaves, np.float64))


def peak_line(power: F64) -> float:
    """Place of the strongest line, between lines by a parabola through log power."""
    place = int(np.argmax(power[1:-1])) + 1
    below, here, above = np.log(np.maximum(power[place - 1 : place + 2], 1e-300))
    bend = below - 2.0 * here + above
    return place + (0.5 * (below - above) / bend if bend < 0.0 else 0.0)


def _line_through(time_s: F64, log_hz: F64) -> tuple[float, float] | None:
    """The line that most hops lie along: first by the median of slopes, then least squares."""
    apart = len(time_s) // 3
    slopes = (log_hz[apart:] - log_hz[:-apart]) / (time_s[apart:] - time_s[:-apart])
    slope = float(np.median(slopes))
    start = float(np.median(log_hz - slope * time_s))
    near = np.zeros(0, np.intp)
    for reach in (4.0 * _EVEN, _EVEN, _EVEN):
        near = np.flatnonzero(np.abs(log_hz - start - slope * time_s) < reach)
        if len(near) < _LEAST_HOPS or len(near) < 0.3 * len(time_s):
            return None
        weight = np.exp(np.minimum(log_hz[near], np.log(1000.0)))
        slope, start = (
            float(c)
            for c in np.polynomial.polynomial.polyfit(time_s[near], log_hz[near], 1, w=weight)[::-1]
        )
    return (start, slope) if abs(slope) * np.ptp(time_s[near]) > np.log(2.0) else None


def _at(
    samples: Samples, rate_hz: float, frequency_hz: float, start: float, slope: float
) -> tuple[F64, F64, Validity]:
    """Power of every track as the sweep passes a frequency, the error, and why there is none."""
    tracks = samples.shape[1]
    nothing = np.full(tracks, np.nan)
    middle_s = (np.log(frequency_hz) - start) / slope
    reach_s = max(_REACH_OCTAVES * np.log(2.0) / abs(slope), 0.5 * _LEAST_PERIODS / frequency_hz)
    first, last = (round((middle_s + side * reach_s) * rate_hz) for side in (-1, 1))
    inside = min(last, len(samples)) - max(first, 0)
    if inside <= 0:
        return nothing, nothing, Validity.NO_SIGNAL
    if inside < _LEAST_PART * (last - first):
        return nothing, nothing, Validity.TOO_SHORT
    first, last = max(first, 0), min(last, len(samples))
    time_s = np.arange(first, last) / rate_hz - middle_s
    back = np.exp(-2j * np.pi * frequency_hz * np.expm1(slope * time_s) / slope)
    window = raised_cosine(len(time_s))
    still = samples[first:last].T * (window * back)
    length = int(fft.next_fast_len(2 * len(time_s)))
    power = np.abs(fft.fft(still, length, axis=1)) ** 2
    # A real sine turned back has half its amplitude: its lines add up to a quarter of A².
    power *= 2.0 / (length * np.sum(window**2))
    line_hz = rate_hz / length
    half_hz = min(max(half_band_hz(frequency_hz), 3.0 / (2.0 * reach_s)), 0.7 * frequency_hz)
    places_hz = np.abs(fft.fftfreq(length, 1.0 / rate_hz))
    band = places_hz <= half_hz
    beside = (places_hz > 1.2 * half_hz) & (
        places_hz < max(3.0 * half_hz, 1.2 * half_hz + 9 * line_hz)
    )
    noise = np.median(power[:, beside], axis=1) / np.log(2.0)
    held = power[:, band].sum(axis=1) - noise * band.sum()
    effective_s = float(np.sum(window**2) ** 2 / np.sum(window**4) / rate_hz)
    ratio = np.maximum(noise, 0.0) / line_hz / np.maximum(held, 1e-30)
    error_db = 20.0 / np.log(10.0) * np.sqrt((ratio + ratio**2 * half_hz) / (2.0 * effective_s))
    independent = max(2.0 * half_hz * effective_s, 1.0)
    heard = held > _SURE / np.sqrt(independent) * noise * band.sum()
    return held, np.where(heard & (held > 0.0), error_db, np.nan), Validity.NO_SIGNAL
