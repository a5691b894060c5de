"""A tone found where it really is: its envelope, and its frequency from the envelope's phase."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure._spectrum import Band, Samples, bands, checked, taper_power
from fluxbench.measure._spread import clustered_error
from fluxbench.measure._validity import waveform_validity

SEARCH = 0.05
"""A tone is looked for this far from its nominal frequency: varispeed and worn oscillators."""

_QUIETEST_DBFS = -130.0
_ENVELOPE_RATE_HZ = 200.0
_FIRM = 10.0
"""Tone over noise, as powers in the band, above which the phase can be followed."""


@dataclass(frozen=True, slots=True)
class HeardTone:
    """A tone in samples, all tracks: band power, noise beside it and complex envelope.

    `envelope` has shape (points, tracks), is tapered at both ends (`weight` is the squared
    taper), turns with the tone's phase less that of `centre_hz`, and its squared magnitude is
    power. `validity` is that of the waveform, or `NO_SIGNAL`.
    """

    centre_hz: float
    half_band_hz: float
    duration_s: float
    power: NDArray[np.float64]
    noise_per_hz: NDArray[np.float64]
    envelope: NDArray[np.complex128]
    weight: NDArray[np.float64]
    time_s: NDArray[np.float64]
    validity: tuple[Validity, ...]

    @property
    def valid(self) -> NDArray[np.bool_]:
        """Tracks with a tone in a sound waveform."""
        return np.array([v is Validity.OK for v in self.validity])

    @property
    def noise_power(self) -> NDArray[np.float64]:
        """Noise in the tone's band."""
        return np.asarray(2.0 * self.half_band_hz * self.noise_per_hz)

    def relative_error(self, seconds: float) -> NDArray[np.float64]:
        """Standard error of an amplitude (relative) or phase (rad) over so many seconds of noise.

        The Cramér-Rao bound for a sine, sqrt(N0 / 2PT) (Rife and Boorstyn 1974, from memory), and
        what the band lets through beside it.
        """
        ratio = self.noise_per_hz / np.maximum(self.power, 1e-300)
        beyond = (ratio * self.half_band_hz) ** 2 / (2.0 * self.half_band_hz * seconds)
        return np.asarray(np.sqrt(ratio / (2.0 * seconds) + beyond))


def half_band_hz(frequency_hz: float) -> float:
    """Half the band of a tone: wide enough for flutter, narrow enough for noise."""
    return max(20.0, 0.015 * frequency_hz)


def hear(samples: Samples, rate_hz: float, frequency_hz: float) -> HeardTone:
    """Find a tone near its nominal frequency, on all tracks at once."""
    samples = checked(samples, rate_hz, frequency_hz)
    validity = waveform_validity(samples, rate_hz, frequency_hz)
    finite = np.array([v not in (Validity.NOT_FINITE, Validity.TOO_SHORT) for v in validity])
    if not finite.all():
        samples = np.where(finite, samples, samples.dtype.type(0))
    half = half_band_hz(frequency_hz)
    if len(samples) == 0:
        samples = np.zeros((1, samples.shape[1]))
    duration_s = len(samples) / rate_hz
    taper_s = min(1.0 / half, 0.25 * duration_s)
    reach = SEARCH * frequency_hz + 3.0 * half
    (band,) = bands(samples, rate_hz, taper_s, [(frequency_hz - reach, frequency_hz + reach)])
    centre_hz = _locate(band, frequency_hz, half)
    power, noise_per_hz = _power_and_noise(band, centre_hz, half)
    noise_power = 2.0 * half * noise_per_hz
    surely = 5.0 / np.sqrt(max(2.0 * half * duration_s, 1.0))
    quietest = 0.5 * 10.0 ** (_QUIETEST_DBFS / 10.0)
    heard = power > np.maximum(surely * noise_power, quietest)
    envelope, time_s = _envelope(band, centre_hz, half)
    return HeardTone(
        centre_hz,
        half,
        duration_s,
        power,
        noise_per_hz,
        envelope,
        taper_power(time_s, duration_s, taper_s),
        time_s,
        tuple(
            Validity.NO_SIGNAL if v is Validity.OK and not there else v
            for v, there in zip(validity, heard, strict=True)
        ),
    )


def fit_frequency(tone: HeardTone) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fit a line to the phase of the envelope of each track.

    Parameters
    ----------
    tone
        What `hear` found.

    Returns
    -------
    frequency_hz, standard_error_hz
        Per track; NaN where the track is not valid or the tone stands less than 10 dB above the
        noise in its band, so that its phase cannot be followed.

    Notes
    -----
    Each phase weighs with its power, so that a drop-out does not count. The error is the larger
    of the scatter between blocks and the Cramér-Rao bound of the noise beside the tone,
    var f = 3 N0 / (2 pi² P T³) for many samples (Rife and Boorstyn 1974, from memory).

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1001.25 * np.arange(48_000) / 48_000)[:, None]
    >>> frequency_hz, error_hz = fit_frequency(hear(sine, 48_000, 1000.0))
    >>> round(float(frequency_hz[0]), 4), bool(error_hz[0] < 1e-3)
    (1001.25, True)
    """
    firm = tone.valid & (tone.power > _FIRM * tone.noise_power)
    phase = np.unwrap(np.angle(tone.envelope), axis=0)
    weight = np.abs(tone.envelope) ** 2
    weight = weight / np.maximum(np.sum(weight, axis=0), 1e-300)
    time_s = tone.time_s[:, None] - np.sum(weight * tone.time_s[:, None], axis=0)
    level = phase - np.sum(weight * phase, axis=0)
    pull = weight * time_s
    pull = pull / np.maximum(np.sum(pull * time_s, axis=0), 1e-300)
    slope = np.sum(pull * level, axis=0)
    scatter = clustered_error(pull * (level - slope * time_s), tone.duration_s, parameters=2)
    ratio = tone.noise_per_hz / np.maximum(tone.power, 1e-300)
    bound_hz = np.sqrt(1.5 * ratio / (np.pi**2 * tone.duration_s**3))
    frequency_hz = tone.centre_hz + slope / (2.0 * np.pi)
    error_hz = np.maximum(scatter / (2.0 * np.pi), bound_hz)
    return np.where(firm, frequency_hz, np.nan), np.where(firm, error_hz, np.nan)


def _locate(band: Band, frequency_hz: float, half: float) -> float:
    """Where the most power of all tracks together lies, from a sliding band and its centroid."""
    power = np.sum(np.abs(band.lines) ** 2, axis=1)
    frequencies = band.frequencies_hz
    near = np.abs(frequencies - frequency_hz) <= SEARCH * frequency_hz + band.line_hz
    if not np.any(power[near] > 0.0):
        return frequency_hz
    strongest = frequencies[near][np.argmax(power[near])]
    centre = float(strongest)
    for _ in range(3):
        inside = np.abs(frequencies - centre) <= half
        centre = float(np.average(frequencies[inside], weights=power[inside]))
    return centre


def _power_and_noise(
    band: Band, centre_hz: float, half: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    low, high = centre_hz - half, centre_hz + half
    noise = band.noise_per_hz(max(low - 2.0 * half, 10.0), high + 2.0 * half, low, high)
    width_hz = len(range(*band.between(low, high).indices(len(band.lines)))) * band.line_hz
    return band.power(low, high) - noise * width_hz, noise


def _envelope(
    band: Band, centre_hz: float, half: float
) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Complex envelope re `centre_hz` and the times of its points."""
    length_s = 1.0 / band.line_hz
    inside = band.between(centre_hz - half, centre_hz + half)
    lines = band.lines[inside]
    points = int(fft.next_fast_len(int(max(4.0 * half, _ENVELOPE_RATE_HZ) * length_s) + 1))
    padded = np.zeros((points, lines.shape[1]), np.complex128)
    padded[: len(lines)] = lines
    time_s = np.arange(points) * length_s / points
    kept = time_s < band.duration_s
    lowest_hz = (band.first_line + inside.start) * band.line_hz
    turn = np.exp(2j * np.pi * (lowest_hz - centre_hz) * time_s[kept])[:, None]
    envelope = fft.ifft(padded, axis=0)[kept] * (points * np.sqrt(band.fill)) * turn
    return envelope, time_s[kept]
