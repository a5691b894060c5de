"""Wow and flutter of a speed tone: weighted quasi-peak, 2 sigma, unweighted, and its parts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure._flutter_detector import quasi_peak_percent
from fluxbench.measure._flutter_parts import (
    FlutterComponent,
    PartReading,
    RotatingPart,
    components_of,
    parts_of,
)
from fluxbench.measure._spread import block_edges
from fluxbench.trade import flutter_detector_correction_ratio, flutter_weighting_db

SHORTEST_S = 4.8
"""5 s, less what a stream loses at the ends."""
HIGHEST_HZ = 200.0
_LOWEST_HZ = 0.1
_EXTENSION_S = 3.0
_FADE_HZ = 50.0
_EXCEEDED = 0.05
_READINGS_PER_S = 1000.0
_ERROR_BLOCK_RATIO = 2.0
"""Pieces are at least a second long: flutter repeats with turning parts."""

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FlutterReading:
    """Speed deviations of a speed tone; arrays have one number a track, NaN if not valid.

    All are peak values, "plus and minus": half of the peak to peak for the quasi-peak.
    `unweighted_percent` is the greatest deviation within 0.1 to 200 Hz.
    """

    frequency_hz: float
    duration_s: float
    weighted_quasi_peak_percent: F64
    weighted_2_sigma_percent: F64
    weighted_2_sigma_standard_error_percent: F64
    unweighted_percent: F64
    components: tuple[FlutterComponent, ...]
    """Largest first."""
    parts: tuple[PartReading, ...]
    validity: tuple[Validity, ...]


def flutter_of(
    deviation_percent: NDArray[np.float32] | F64,
    rate_hz: float,
    frequency_hz: float = np.nan,
    parts: Sequence[RotatingPart] = (),
    told: Sequence[Validity] | None = None,
) -> FlutterReading:
    """Weigh and read speed deviations.

    Parameters
    ----------
    deviation_percent
        Shape (tracks, points): deviation of the speed in per cent; its mean does not count.
    rate_hz
        Points a second, 500 or more.
    frequency_hz
        The mean frequency of the tone, only to be told.
    parts
        What turns in the deck, and how often it should.
    told
        What is known against each track.

    Returns
    -------
    FlutterReading
        `TOO_SHORT` below 5 s.

    Notes
    -----
    IEC 60386:1972 with Amendment 1:1988 (the same: AES6-2008). The weighting is its table,
    straight over log frequency between the points, applied to the spectrum without phase; the
    ends are continued by their mirror images. Quasi-peak: see `trade.FLUTTER_CHARGE_S`; the
    reading is the mean over pieces of 2 s of the highest place of the pointer. 2 sigma: the size
    that is exceeded for 5 % of the time.

    Examples
    --------
    A 4 Hz sine of 0.1 %: both read 0.1, 2 sigma 0.3 % less (sin of 0.95 quarter turns) but for
    what mirrored ends take from it, here 0.2 %.

    >>> sine = 0.1 * np.sin(2 * np.pi * 4 * np.arange(10_000) / 1000)[None, :]
    >>> reading = flutter_of(sine, 1000.0)
    >>> round(float(reading.weighted_quasi_peak_percent[0]), 3)
    0.1
    >>> abs(float(reading.weighted_2_sigma_percent[0]) / 0.09969 - 1.0) < 0.0025
    True
    """
    duration_s = deviation_percent.shape[1] / rate_hz
    tracks = len(deviation_percent)
    validity = tuple(told) if told is not None else (Validity.OK,) * tracks
    if duration_s < SHORTEST_S:
        validity = tuple(v if v is not Validity.OK else Validity.TOO_SHORT for v in validity)
    valid = np.array([v is Validity.OK for v in validity], bool)
    quasi_peak, two_sigma, error, unweighted = np.full((4, tracks), np.nan)
    components: tuple[FlutterComponent, ...] = ()
    found = tuple(PartReading(part.name, part.rate_hz, np.nan, np.nan) for part in parts)
    if valid.any():
        split = _Split(deviation_percent[valid], rate_hz)
        weighted = split.through(_table_ratio)
        two_sigma[valid], error[valid] = _two_sigma(weighted, duration_s)
        quasi_peak[valid] = quasi_peak_percent(split.through(_detector_ratio), split.rate_hz)
        flat = split.through(_flat_ratio)
        unweighted[valid] = np.abs(flat).max(axis=1)
        components = components_of(flat.mean(axis=0, dtype=np.float64), split.rate_hz, parts)
        found = parts_of(components, parts)
    return FlutterReading(
        frequency_hz, duration_s, quasi_peak, two_sigma, error, unweighted, components, found,
        validity,
    )  # fmt: skip


class _Split:
    """Deviations as a spectrum, continued at both ends, to be filtered in several ways."""

    def __init__(self, deviation: NDArray[np.float32] | F64, rate_hz: float) -> None:
        points = deviation.shape[1]
        more = min(int(_EXTENSION_S * rate_hz), points - 1)
        values = (deviation - deviation.mean(axis=1, keepdims=True)).astype(np.float32)
        ends = [
            values[:, more:0:-1],
            values,
            values[:, -2 : -more - 2 : -1],
        ]
        length = int(fft.next_fast_len(points + 2 * more, real=True))
        self._spectrum = fft.rfft(np.concatenate(ends, axis=1), length, axis=1)
        self._input_points, self._length_s = length, length / rate_hz
        self._first_s, self._last_s = more / rate_hz, (more + points) / rate_hz
        self._points = 2 * int(fft.next_fast_len(int(_READINGS_PER_S * self._length_s / 2) + 1))
        self.rate_hz = self._points / self._length_s

    def through(self, ratio: Callable[[F64], F64]) -> NDArray[np.float32]:
        """The deviations (tracks, points) at `rate_hz` through a filter without phase."""
        kept = min(self._points // 2 + 1, self._spectrum.shape[1])
        shape = ratio(np.arange(kept) / self._length_s) * self._points / self._input_points
        shaped = np.zeros((len(self._spectrum), self._points // 2 + 1), np.complex64)
        shaped[:, :kept] = self._spectrum[:, :kept] * shape.astype(np.float32)
        filtered = fft.irfft(shaped, self._points, axis=1)
        first, last = (round(s * self.rate_hz) for s in (self._first_s, self._last_s))
        return np.asarray(filtered[:, first:last])


def _table_ratio(frequency_hz: F64) -> F64:
    """The weighting as a gain; above the flutter band it fades out."""
    return np.asarray(10.0 ** (flutter_weighting_db(frequency_hz) / 20.0) * _fade(frequency_hz))


def _detector_ratio(frequency_hz: F64) -> F64:
    return np.asarray(_table_ratio(frequency_hz) * flutter_detector_correction_ratio(frequency_hz))


def _flat_ratio(frequency_hz: F64) -> F64:
    above = np.clip(2.0 * frequency_hz / _LOWEST_HZ - 1.0, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * above) ** 2 * _fade(frequency_hz))


def _fade(frequency_hz: F64) -> F64:
    """1 up to 200 Hz, 0 from 250 Hz on."""
    above = np.clip((frequency_hz - HIGHEST_HZ) / _FADE_HZ, 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * above) ** 2)


def _two_sigma(weighted: NDArray[np.float32], duration_s: float) -> tuple[F64, F64]:
    """What is exceeded for 5 % of the time, and its error from that of independent pieces."""
    size = np.abs(weighted)
    edges = block_edges(size.shape[1], duration_s / _ERROR_BLOCK_RATIO)
    pieces = [np.quantile(piece, 1.0 - _EXCEEDED, axis=1) for piece in np.split(size, edges[1:], 1)]
    error = np.std(pieces, axis=0, ddof=1) / np.sqrt(len(pieces))
    return np.quantile(size, 1.0 - _EXCEEDED, axis=1), np.asarray(error)
