"""Spectrum lines in a band, scaled so that their squares add up to power."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import MisuseError

Samples = NDArray[np.float32] | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Band:
    """Neighbouring lines of the spectrum of tapered samples.

    The squared magnitudes of all lines of a sine of amplitude A add up to its power A²/2; those
    of noise to its mean square.
    """

    lines: NDArray[np.complex128]
    """Shape (lines, tracks)."""
    first_line: int
    line_hz: float
    frames: int
    rate_hz: float
    taper_s: float
    fill: float
    """Sum of the squared taper over the length of the transform."""

    @property
    def duration_s(self) -> float:
        """How long the samples last."""
        return self.frames / self.rate_hz

    @property
    def frequencies_hz(self) -> NDArray[np.float64]:
        """Frequency of every line."""
        return np.asarray((self.first_line + np.arange(len(self.lines))) * self.line_hz)

    def between(self, low_hz: float, high_hz: float) -> slice:
        """The lines from one frequency to another, both included, as far as the band has them."""
        first = int(np.ceil(low_hz / self.line_hz)) - self.first_line
        last = int(np.floor(high_hz / self.line_hz)) - self.first_line
        return slice(max(first, 0), max(last + 1, 0))

    def power(self, low_hz: float, high_hz: float) -> NDArray[np.float64]:
        """Power from one frequency to another, per track."""
        return np.asarray(np.sum(np.abs(self.lines[self.between(low_hz, high_hz)]) ** 2, axis=0))

    def noise_per_hz(
        self, low_hz: float, high_hz: float, clear_low_hz: float, clear_high_hz: float
    ) -> NDArray[np.float64]:
        """Noise density beside a tone, per track: from low to high without the clear middle.

        The median of the lines, so that a stray line does not count; for noise the median of the
        squared magnitudes is ln 2 of their mean (exponential distribution).
        """
        beside = np.concatenate(
            [
                self.lines[self.between(low_hz, clear_low_hz)],
                self.lines[self.between(clear_high_hz, high_hz)],
            ]
        )
        if len(beside) == 0:
            return np.zeros(self.lines.shape[1])
        median = np.median(np.abs(beside) ** 2, axis=0)
        return np.asarray(median / np.log(2.0) / self.line_hz)


def bands(
    samples: Samples, rate_hz: float, taper_s: float, edges_hz: list[tuple[float, float]]
) -> list[Band]:
    """Cut bands out of the spectra of all tracks, one transform a track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), finite.
    rate_hz
        Sample rate in Hz.
    taper_s
        Length of the raised-cosine slope at either end, in s.
    edges_hz
        Lowest and highest frequency of each band; clipped to what the rate allows.

    Examples
    --------
    A sine of amplitude 0.2 has a power of 0.02.

    >>> sine = 0.2 * np.sin(2 * np.pi * 100 * np.arange(4800) / 4800)[:, None]
    >>> round(float(bands(sine, 4800, 0.1, [(50, 150)])[0].power(50, 150)[0]), 6)
    0.02
    """
    frames, tracks = samples.shape
    length = int(fft.next_fast_len(frames, real=True))
    window = np.sqrt(
        taper_power(
            (0.5 + np.arange(frames, dtype=np.float64)) / rate_hz, frames / rate_hz, taper_s
        )
    )
    squared = float(window @ window)
    window = window.astype(samples.dtype)
    line_hz, last = rate_hz / length, length // 2
    spans = [
        (min(max(1, int(low / line_hz)), last), min(int(high / line_hz) + 1, last))
        for low, high in edges_hz
    ]
    cuts = [np.empty((high + 1 - low, tracks), np.complex128) for low, high in spans]
    scale = np.sqrt(2.0 / (length * squared))
    for track in range(tracks):
        spectrum = fft.rfft(window * samples[:, track], length)
        for cut, (low, high) in zip(cuts, spans, strict=True):
            cut[:, track] = scale * spectrum[low : high + 1]
    return [
        Band(cut, low, line_hz, frames, rate_hz, taper_s, squared / length)
        for cut, (low, _) in zip(cuts, spans, strict=True)
    ]


def taper_power(
    time_s: NDArray[np.float64], duration_s: float, taper_s: float
) -> NDArray[np.float64]:
    """Square of the taper at times from the start: raised-cosine slopes, level between."""
    to_end_s = np.minimum(time_s, duration_s - time_s)
    slope = 0.5 - 0.5 * np.cos(np.pi * np.clip(to_end_s / taper_s, 0.0, 1.0))
    return np.asarray(slope**2)


def checked(samples: Samples, rate_hz: float, *frequencies_hz: float) -> Samples:
    """Give back the samples, or raise `MisuseError` for a wrong shape, rate or frequency."""
    if samples.ndim != 2:
        raise MisuseError(f"samples of shape {samples.shape}: hand in (frames, tracks)")
    if not rate_hz > 0.0:
        raise MisuseError(f"a sample rate of {rate_hz:g} Hz: it must be above zero")
    for frequency_hz in frequencies_hz:
        if not 0.0 < frequency_hz < rate_hz / 2.0:
            raise MisuseError(
                f"{frequency_hz:g} Hz cannot be measured at {rate_hz:g} Hz:"
                f" choose a frequency above 0 and below {rate_hz / 2.0:g} Hz"
            )
    return samples
