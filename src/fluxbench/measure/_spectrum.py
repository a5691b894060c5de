"""Spectrum lines in a band, scaled so that their squares add up to power."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import MisuseError

Samples = NDArray[np.float32] | NDArray[np.float64]

_TOGETHER = 4
"""Tracks transformed at once: few enough for memory, enough to read interleaved samples well."""


@dataclass(frozen=True, slots=True)
class Band:
    """Neighbouring lines of the spectrum of tapered samples.

    The squared magnitudes of all lines of a sine of amplitude A add up to its power A²/2; those
    of noise to its mean square.
    """

    lines: NDArray[np.complex64] | NDArray[np.complex128]
    """Shape (lines, tracks); those of a track best lie side by side in memory."""
    first_line: int
    line_hz: float
    frames: int
    rate_hz: float
    taper_s: float
    fill: float
    """Sum of the squared taper over the length of the transform."""
    effective_s: float
    """Seconds of untapered samples that would average noise as well."""

    @property
    def duration_s(self) -> float:
        """How long the samples last."""
        return self.frames / self.rate_hz

    @property
    def frequencies_hz(self) -> NDArray[np.float64]:
        """Frequency of every line."""
        return np.asarray((self.first_line + np.arange(len(self.lines))) * self.line_hz)

    def power(self, some: slice) -> NDArray[np.float64]:
        """Squared magnitudes of some of the lines, (lines, tracks)."""
        lines = self.lines[some]
        return np.asarray(np.square(lines.real, dtype=float) + np.square(lines.imag, dtype=float))

    def between(self, low_hz: float, high_hz: float) -> slice:
        """The lines from one frequency to another, both included, as far as the band has them."""
        first = int(np.ceil(low_hz / self.line_hz)) - self.first_line
        last = int(np.floor(high_hz / self.line_hz)) - self.first_line
        return slice(max(first, 0), max(last + 1, 0))


@dataclass(frozen=True, slots=True)
class BandTone:
    """What a band holds of a tone, per track, once the noise beside it is taken off."""

    power: NDArray[np.float64]
    noise_per_hz: NDArray[np.float64]
    half_hz: float
    beside_hz: float
    """Width of what lies beside, by which the noise was read."""
    effective_s: float

    @property
    def noise_power(self) -> NDArray[np.float64]:
        """Noise in the band."""
        return np.asarray(2.0 * self.half_hz * self.noise_per_hz)

    @property
    def hidden_power(self) -> NDArray[np.float64]:
        """What noise can hold by chance (5 standard deviations): a tone below is not heard.

        Both the noise in the band scatters and what was taken off for it.
        """
        independent = max(2.0 * self.half_hz * self.effective_s, 1.0)
        scatter = np.sqrt((1.0 + self._taken_off) / independent)
        return np.asarray(5.0 * scatter * self.noise_power)

    @property
    def heard(self) -> NDArray[np.bool_]:
        """Whether the band holds more than noise can by chance."""
        return np.asarray(self.power > self.hidden_power)

    def phase_error(self, seconds: float | None = None) -> NDArray[np.float64]:
        """Standard error that the noise gives a phase (rad).

        Over all samples, or so many seconds of them.

        The Cramér-Rao bound for a sine, sqrt(N0 / 2PT) (Rife and Boorstyn 1974, from memory), and
        the rest of the noise that the band lets through.
        """
        return self._error(1.0, seconds)

    def relative_error(self, seconds: float | None = None) -> NDArray[np.float64]:
        """Standard error that the noise gives an amplitude (relative); as that of a phase.

        Here counts too how well the noise is known that was taken off: the median of n values of
        an exponential distribution has the variance 1/n of its mean squared, and stands for the
        mean by 1 / ln 2.
        """
        return self._error(1.0 + self._taken_off, seconds)

    @property
    def _taken_off(self) -> float:
        """Variance of the noise that was taken off, over that of the noise in the band."""
        if not self.beside_hz > 0.0:
            return 0.0
        return float(2.0 * self.half_hz / self.beside_hz / np.log(2.0) ** 2)

    def _error(self, share: float, seconds: float | None) -> NDArray[np.float64]:
        ratio = self.noise_per_hz / np.maximum(self.power, 1e-30)
        span_s = self.effective_s if seconds is None else seconds
        return np.asarray(np.sqrt((ratio + share * ratio**2 * self.half_hz) / (2.0 * span_s)))


def band_tone(band: Band, centre_hz: float, half_hz: float, reach_hz: float) -> BandTone:
    """Measure the tone within `half_hz` of a frequency and the noise from there to `reach_hz`.

    The noise is the median of the lines beside, so that a stray line does not count; for noise
    the median of squared magnitudes is ln 2 of their mean (exponential distribution). Lines
    below 10 Hz do not count.
    """
    inside = band.power(band.between(centre_hz - half_hz, centre_hz + half_hz))
    below = band.between(max(centre_hz - reach_hz, 10.0), centre_hz - half_hz)
    above = band.between(centre_hz + half_hz, centre_hz + reach_hz)
    beside = np.concatenate([band.power(below), band.power(above)])
    noise = np.zeros(inside.shape[1])
    if len(beside):
        noise = np.median(beside, axis=0) / np.log(2.0)
    held = np.sum(inside - noise, axis=0)
    beside_hz = len(beside) * band.line_hz
    return BandTone(held, noise / band.line_hz, half_hz, beside_hz, band.effective_s)


def bands(
    samples: Samples, rate_hz: float, taper_s: float, edges_hz: list[tuple[float, float]]
) -> list[Band]:
    """Cut bands out of the spectra of all tracks, one transform a track for all of them.

    Parameters
    ----------
    samples
        Shape (frames, tracks), finite.
    rate_hz
        Sample rate in Hz.
    taper_s
        Length of the slope at either end, in s.
    edges_hz
        Lowest and highest frequency of each band; clipped to what the rate allows.

    Examples
    --------
    A sine of amplitude 0.2 has a power of 0.02.

    >>> sine = 0.2 * np.sin(2 * np.pi * 100 * np.arange(4800) / 4800)[:, None]
    >>> (band,) = bands(sine, 4800, 0.1, [(50, 150)])
    >>> round(float(band_tone(band, 100, 30, 50).power[0]), 6)
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
    effective_s = squared**2 / float(np.sum(window**4)) / rate_hz
    line_hz, last = rate_hz / length, length // 2
    spans = [
        (min(max(1, int(low / line_hz)), last), min(int(high / line_hz) + 1, last))
        for low, high in edges_hz
    ]
    cuts = [np.empty((high + 1 - low, tracks), np.complex128) for low, high in spans]
    scaled = (np.sqrt(2.0 / (length * squared)) * window).astype(samples.dtype)
    for first in range(0, tracks, _TOGETHER):
        some = slice(first, first + _TOGETHER)
        tapered = samples[:, some].T.copy(order="C")  # first in order, then multiplied: faster
        np.multiply(tapered, scaled, out=tapered)
        spectra = fft.rfft(tapered, length, axis=1, overwrite_x=True)
        for cut, (low, high) in zip(cuts, spans, strict=True):
            cut[:, some] = spectra[:, low : high + 1].T
    return [
        Band(cut, low, line_hz, frames, rate_hz, taper_s, squared / length, effective_s)
        for cut, (low, _) in zip(cuts, spans, strict=True)
    ]


def taper_power(
    time_s: NDArray[np.float64], duration_s: float, taper_s: float
) -> NDArray[np.float64]:
    """Square of the taper at times from the start: smooth slopes, level between.

    The slope is the integral of a raised cosine: what a steady tone leaves beside itself falls
    with the fourth power of the distance, or it would pass for noise where there is hardly any.
    """
    to_end_s = np.minimum(time_s, duration_s - time_s)
    place = np.clip(to_end_s / taper_s, 0.0, 1.0)
    return np.asarray((place - np.sin(2.0 * np.pi * place) / (2.0 * np.pi)) ** 2)


def taper_seconds(half_hz: float, duration_s: float) -> float:
    """Length of the slopes for a band of `half_hz` either side: twice its reciprocal, if there is
    room.

    A steady tone then leaves 90 dB less in the place of the noise beside it than it has itself
    (closed form of the window), and 0.1 s at either end of a tone of 1 kHz count for less.
    """
    return min(2.0 / half_hz, 0.25 * duration_s)


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
