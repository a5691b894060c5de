"""Tones sent one after the other, found by their frequency."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._response import ResponseReading
from fluxbench.measure._spectrum import Samples, checked
from fluxbench.measure._sweep import peak_line
from fluxbench.measure._tone import tone_levels
from fluxbench.measure._validity import waveform_validity
from fluxbench.measure._windows import raised_cosine

_HOP_S = 0.05
_FRAME_S = 0.2
_NEAR_RATIO = 0.03
_NEAR_HZ = 2.5
_SETTLING_S = 0.15


def stepped_levels(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> ResponseReading:
    """Measure tones that were sent one after the other, in whatever order and length.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; each step half a second or longer.
    rate_hz
        Sample rate in Hz.
    frequencies_hz
        The steps in Hz; each may lie 3 % off.

    Returns
    -------
    ResponseReading
        A step is measured as `tone_levels` does, over its longest stretch less 0.15 s at either
        end; one that does not come is `NO_SIGNAL`.

    Raises
    ------
    MisuseError
        Wrong shape, no frequencies, or one that is not between 0 and half the rate.

    Examples
    --------
    >>> time_s = np.arange(48_000) / 48_000
    >>> low, high = (0.1 * np.sin(2 * np.pi * f * time_s) for f in (100.0, 1000.0))
    >>> steps = np.concatenate([low, 0.5 * high])[:, None]
    >>> reading = stepped_levels(steps, 48_000, [100.0, 1000.0])
    >>> [round(float(level), 2) for level in reading.level_dbfs[:, 0]]
    [-20.0, -26.02]
    """
    wanted_hz = np.asarray(frequencies_hz, np.float64)
    if wanted_hz.size == 0:
        raise MisuseError("no frequencies for the steps: name some")
    samples = checked(samples, rate_hz, *map(float, wanted_hz))
    tracks = samples.shape[1]
    levels, errors = np.full((2, len(wanted_hz), tracks), np.nan)
    found_ratios: list[float] = []
    validity: list[tuple[Validity, ...]] = []
    heard_hz, hop = _strongest(samples, rate_hz)
    for row, frequency_hz in enumerate(wanted_hz):
        first, last = _stretch(heard_hz, float(frequency_hz))
        begin = round(first * hop + _SETTLING_S * rate_hz)
        end = round((last - 1) * hop + (_FRAME_S - _SETTLING_S) * rate_hz)
        if last <= first or end <= begin:
            missing = waveform_validity(samples, rate_hz, float(frequency_hz))
            validity.append(tuple(Validity.NO_SIGNAL if v is Validity.OK else v for v in missing))
            continue
        reading = tone_levels(samples[begin:end], rate_hz, float(frequency_hz))
        levels[row], errors[row] = reading.level_dbfs, reading.level_standard_error_db
        validity.append(reading.validity)
        found_ratios.extend(reading.frequency_hz[np.isfinite(reading.frequency_hz)] / frequency_hz)
    ratio = float(np.median(found_ratios)) if found_ratios else np.nan
    return ResponseReading(wanted_hz, ratio, levels, errors, tuple(validity))


def _strongest(samples: Samples, rate_hz: float) -> tuple[NDArray[np.float64], float]:
    """Frequency of the strongest line of all tracks in every hop, and the hop in frames."""
    frame = int(fft.next_fast_len(round(_FRAME_S * rate_hz), real=True))
    hop = max(round(_HOP_S * rate_hz), 1)
    window = raised_cosine(frame)
    found = []
    for start in range(0, len(samples) - frame + 1, hop):
        some = np.asarray(samples[start : start + frame], np.float64)
        block = np.nan_to_num(some, nan=0.0, posinf=0.0, neginf=0.0)
        lines = fft.rfft(block * window[:, None], axis=0)
        found.append(peak_line(np.sum(np.abs(lines) ** 2, axis=1)) * rate_hz / frame)
    return np.array(found), float(hop)


def _stretch(heard_hz: NDArray[np.float64], frequency_hz: float) -> tuple[int, int]:
    """First hop and hop after the last of the longest stretch near a frequency."""
    reach_hz = max(_NEAR_RATIO * frequency_hz, _NEAR_HZ)
    near = np.abs(heard_hz - frequency_hz) <= reach_hz
    edges = np.flatnonzero(np.diff(near.astype(np.int8), prepend=0, append=0))
    if len(edges) == 0:
        return 0, 0
    longest = int(np.argmax(edges[1::2] - edges[::2]))
    return int(edges[2 * longest]), int(edges[2 * longest + 1])
