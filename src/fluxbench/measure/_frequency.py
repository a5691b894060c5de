"""A tone found where it really is: its envelope, and its frequency from the envelope's phase."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure._spectrum import (
    Band,
    BandTone,
    Samples,
    band_tone,
    bands,
    checked,
    taper_power,
    taper_seconds,
)
from fluxbench.measure._spread import clustered_error
from fluxbench.measure._validity import downgraded, usable, waveform_validity

ORDERS = (2, 3, 4, 5)
"""The harmonics that are looked at."""

SEARCH = 0.05
"""A tone is looked for this far from its nominal frequency: varispeed and worn oscillators."""

_QUIETEST_DBFS = -130.0
_FULL_SCALE_POWER = 1.002
"""A sine whose power is above this (of one with the same peak) must have been clipped."""

_ENVELOPE_RATE_HZ = 200.0
_STRONG = 0.1
"""Power over the usual one above which a phase is followed."""

_FIRM = 10.0
"""Tone over noise, as powers in the band, above which the phase can be followed."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """A tone's complex envelope on every track, tapered at both ends.

    `values` has shape (points, tracks): its squared magnitude is power, and it turns with the
    tone's phase less that of `centre_hz`. `weight` is the squared taper.
    """

    values: NDArray[np.complex128]
    weight: NDArray[np.float64]
    time_s: NDArray[np.float64]
    centre_hz: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class HeardTone:
    """A tone found on all tracks: what its level, harmonics and delays are worked out from."""

    nominal_hz: float
    rate_hz: float
    duration_s: float
    inside: BandTone
    envelope: Envelope
    overtones: tuple[Band, ...]
    """Around twice to five times the nominal frequency."""
    validity: tuple[Validity, ...]
    """That of the waveform; or `NO_SIGNAL`, or `CLIPPED` for more than a full-scale sine."""

    @property
    def valid(self) -> NDArray[np.bool_]:
        """Tracks with a tone in a sound waveform."""
        return np.array([v is Validity.OK for v in self.validity], bool)


def half_band_hz(frequency_hz: float) -> float:
    """Half the band of a tone: wide enough for flutter, narrow enough for noise."""
    return max(20.0, 0.015 * frequency_hz)


def hear(samples: Samples, rate_hz: float, frequency_hz: float) -> HeardTone:
    """Find a tone on all tracks at once, with one transform a track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1.
    rate_hz
        Sample rate in Hz.
    frequency_hz
        Nominal frequency in Hz; the tone may lie 5 % off.

    Returns
    -------
    HeardTone
        For `tone_reading`, `harmonics_of` and `delays_of`.

    Raises
    ------
    MisuseError
        Samples are not (frames, tracks), or the frequency is not between 0 and half the rate.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1010 * np.arange(48_000) / 48_000)[:, None]
    >>> round(hear(sine, 48_000, 1000.0).envelope.centre_hz, 2)
    1010.0
    """
    told = waveform_validity(checked(samples, rate_hz, frequency_hz), rate_hz, frequency_hz)
    fit = usable(samples, rate_hz, told)
    half = half_band_hz(frequency_hz)
    edges_hz = [
        (
            order * (1.0 - SEARCH) * frequency_hz - reach,
            order * (1.0 + SEARCH) * frequency_hz + reach,
        )
        for order, reach in ((n, 3.0 * half_band_hz(n * frequency_hz)) for n in (1, *ORDERS))
    ]
    taper_s = taper_seconds(half, len(fit) / rate_hz)
    heard = bands(fit, rate_hz, taper_s, edges_hz)
    peak = np.maximum(fit.max(axis=0), -fit.min(axis=0)).astype(np.float64)
    return heard_in(heard, told, frequency_hz, rate_hz, len(samples) / rate_hz, peak=peak)


def heard_in(
    cut: list[Band],
    told: tuple[Validity, ...],
    frequency_hz: float,
    rate_hz: float,
    duration_s: float,
    search_hz: float | None = None,
    peak: NDArray[np.float64] | None = None,
) -> HeardTone:
    """Find a tone in bands around it and around its harmonics, as `hear` does.

    `told` is what the waveform's validity was; the search is 5 % if it is not given. `peak` is
    the greatest sample of each track: floating point may go beyond full scale unclipped.
    """
    band, *overtones = cut
    half = half_band_hz(frequency_hz)
    search = SEARCH * frequency_hz if search_hz is None else search_hz
    centre_hz = locate(band, frequency_hz, search, half)
    inside = band_tone(band, centre_hz, half, 3.0 * half)
    top = 1.0 if peak is None else np.maximum(peak, 1.0)
    below_top = inside.power <= 0.5 * _FULL_SCALE_POWER * top**2
    heard = inside.heard & (inside.power > 0.5 * 10.0 ** (_QUIETEST_DBFS / 10.0))
    told = downgraded(told, below_top, Validity.CLIPPED)
    return HeardTone(
        nominal_hz=frequency_hz,
        rate_hz=rate_hz,
        duration_s=duration_s,
        inside=inside,
        envelope=envelope_of(band, centre_hz, half),
        overtones=tuple(overtones),
        validity=downgraded(told, heard, Validity.NO_SIGNAL),
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
    firm = tone.valid & (tone.inside.power > _FIRM * tone.inside.noise_power)
    envelope = tone.envelope
    phase = _followed(envelope.values)
    weight = np.abs(envelope.values) ** 2
    weight = weight / np.maximum(np.sum(weight, axis=0), 1e-30)
    time_s = envelope.time_s[:, None] - np.sum(weight * envelope.time_s[:, None], axis=0)
    level = phase - np.sum(weight * phase, axis=0)
    pull = weight * time_s
    pull = pull / np.maximum(np.sum(pull * time_s, axis=0), 1e-30)
    slope = np.sum(pull * level, axis=0)
    scatter = clustered_error(pull * (level - slope * time_s), envelope.duration_s, parameters=2)
    ratio = tone.inside.noise_per_hz / np.maximum(tone.inside.power, 1e-30)
    bound_hz = np.sqrt(1.5 * ratio / (np.pi**2 * envelope.duration_s**3))
    frequency_hz = envelope.centre_hz + slope / (2.0 * np.pi)
    error_hz = np.maximum(scatter / (2.0 * np.pi), bound_hz)
    return np.where(firm, frequency_hz, np.nan), np.where(firm, error_hz, np.nan)


def _followed(values: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Phases (points, tracks) without jumps of whole turns, followed where the tone is strong.

    In a drop-out the envelope may pass through nothing, and a turn would be gained or lost.
    """
    turned = np.angle(values)
    phase = np.unwrap(turned, axis=0)
    power = np.abs(values) ** 2
    strong = power >= _STRONG * np.median(power, axis=0)
    at = np.arange(len(values))
    for track in np.flatnonzero(~strong.all(axis=0)):
        here = strong[:, track]
        between = np.interp(at, at[here], np.unwrap(turned[here, track]))
        off = turned[:, track] - between
        phase[:, track] = between + off - 2.0 * np.pi * np.rint(off / (2.0 * np.pi))
    return phase


def locate(band: Band, frequency_hz: float, search_hz: float, half_hz: float) -> float:
    """Where a tone really lies: centroid around the strongest line of all tracks together."""
    power = np.sum(band.power(slice(None)), axis=1)
    frequencies = band.frequencies_hz
    near = np.abs(frequencies - frequency_hz) <= search_hz + band.line_hz
    if not np.any(power[near] > 0.0):
        return frequency_hz
    centre_hz = float(frequencies[near][np.argmax(power[near])])
    for _ in range(3):
        inside = np.abs(frequencies - centre_hz) <= half_hz
        centre_hz = float(np.average(frequencies[inside], weights=power[inside]))
    return centre_hz


def envelope_of(band: Band, centre_hz: float, half_hz: float) -> Envelope:
    """Complex envelope of what lies within `half_hz` of a frequency."""
    length_s = 1.0 / band.line_hz
    inside = band.between(centre_hz - half_hz, centre_hz + half_hz)
    lines = band.lines[inside]
    points = int(fft.next_fast_len(int(max(4.0 * half_hz, _ENVELOPE_RATE_HZ) * length_s) + 1))
    padded = np.zeros((points, lines.shape[1]), np.complex128)
    padded[: len(lines)] = lines
    time_s = np.arange(points) * length_s / points
    kept = time_s < band.duration_s
    lowest_hz = (band.first_line + inside.start) * band.line_hz
    turn = np.exp(2j * np.pi * (lowest_hz - centre_hz) * time_s[kept])[:, None]
    values = fft.ifft(padded, axis=0)[kept] * (points * np.sqrt(band.fill)) * turn
    middle_s = time_s[kept] + 0.5 / band.rate_hz  # the taper is taken in the middles of frames
    weight = taper_power(middle_s, band.duration_s, band.taper_s)
    return Envelope(values, weight, time_s[kept], centre_hz, band.duration_s)
