"""Level, frequency and phase of one tone on every track, with their errors and their trust."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._frequency import Envelope, HeardTone, fit_frequency, hear
from fluxbench.measure._spectrum import BandTone, Samples
from fluxbench.measure._spread import clustered_error
from fluxbench.measure._validity import downgraded

WINDOW_S = 0.2
WINDOW_PERIODS = 8.0
HOP_S = 0.02
_UNSTABLE_DB = 1.0
_DROP_OUT_DB = 3.0
_DROP_OUTS_SHARE = 0.2

_METHOD_DB = 3e-5
"""What single precision and the ripple of the bands leave of a sine without any noise (measured
against closed forms): no error is stated smaller."""


@dataclass(frozen=True, slots=True)
class ToneReading:
    """One tone on every track; arrays have one number a track, NaN where it is not valid.

    Levels re full scale (a full-scale sine is 0). `level_spread_db` is the standard deviation of
    the hop levels (200 ms or 8 periods, every 20 ms), NaN in samples too short for two hops.
    `frequency_hz` is NaN too where the tone is too weak to follow. `phase_deg` is re
    `reference_track` (the first valid one, counted from 1), -180 to 180, positive: leads.
    """

    nominal_hz: float
    duration_s: float
    level_dbfs: NDArray[np.float64]
    level_standard_error_db: NDArray[np.float64]
    level_spread_db: NDArray[np.float64]
    noise_dbfs: NDArray[np.float64]
    """Noise in the tone's band, measured beside it and taken off the level."""
    frequency_hz: NDArray[np.float64]
    frequency_standard_error_hz: NDArray[np.float64]
    phase_deg: NDArray[np.float64]
    phase_standard_error_deg: NDArray[np.float64]
    reference_track: int | None
    validity: tuple[Validity, ...]


def tone_levels(samples: Samples, rate_hz: float, frequency_hz: float) -> ToneReading:
    """Measure a tone on every track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; about 1.5 s or more for a level.
    rate_hz
        Sample rate in Hz.
    frequency_hz
        Nominal frequency in Hz; the tone may lie 5 % off.

    Returns
    -------
    ToneReading
        A track that cannot be trusted has NaN and a `Validity` that says why.

    Raises
    ------
    MisuseError
        Samples are not (frames, tracks), or the frequency is not between 0 and half the rate.

    Notes
    -----
    Level: power within the larger of 20 Hz and 1.5 % around the measured frequency, less the noise
    beside it, since flutter spreads a short-wave tone over many lines. Frequency: line through
    the phase of the envelope. Phase: angle of the mean product of two envelopes, in which flutter
    common to the tracks cancels. Errors come from blocks of at least 0.5 s and are never below
    what the noise beside the tone must give.

    Examples
    --------
    A sine of amplitude 0.1 is -20 dBFS; a cosine leads it by a quarter turn.

    >>> angle = 2 * np.pi * 1000 * np.arange(96_000) / 48_000
    >>> reading = tone_levels(np.stack([0.1 * np.sin(angle), 0.05 * np.cos(angle)], 1), 48_000, 1e3)
    >>> [round(float(level), 3) for level in reading.level_dbfs]
    [-20.0, -26.021]
    >>> [round(abs(float(phase)), 3) for phase in reading.phase_deg]
    [0.0, 90.0]
    """
    return tone_reading(hear(samples, rate_hz, frequency_hz))


def tone_reading(tone: HeardTone) -> ToneReading:
    """Work out level, frequency and phase of a tone that was heard, as `tone_levels` does."""
    spread_db, stable = _steadiness(tone)
    validity = downgraded(tone.validity, stable, Validity.UNSTABLE)
    ok = np.array([v is Validity.OK for v in validity], bool)
    frequency, frequency_error = fit_frequency(tone)
    phase_deg, phase_error_deg, reference = _phases(tone, ok)
    return ToneReading(
        nominal_hz=tone.nominal_hz,
        duration_s=tone.duration_s,
        level_dbfs=_kept(ok, dbfs(tone.inside.power)),
        level_standard_error_db=_kept(ok, level_error_db(tone.inside, tone.envelope)),
        level_spread_db=_kept(ok, spread_db),
        noise_dbfs=_kept(ok, dbfs(tone.inside.noise_power)),
        frequency_hz=_kept(ok, frequency),
        frequency_standard_error_hz=_kept(ok, frequency_error),
        phase_deg=_kept(ok, phase_deg),
        phase_standard_error_deg=_kept(ok, phase_error_deg),
        reference_track=None if reference is None else reference + 1,
        validity=validity,
    )


def _kept(ok: NDArray[np.bool_], values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(ok, values, np.nan)


def dbfs(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level of a power; a full-scale sine has 1/2 and is 0."""
    return np.asarray(10.0 * np.log10(np.maximum(2.0 * power, 1e-30)))


def level_error_db(inside: BandTone, envelope: Envelope) -> NDArray[np.float64]:
    """Standard error of a level: from blocks, not below what noise must give, and the method's."""
    power = np.abs(envelope.values) ** 2
    total = np.sum(envelope.weight)
    contributions = (power - envelope.weight[:, None] * np.sum(power, axis=0) / total) / total
    scatter = clustered_error(contributions, envelope.duration_s)
    relative = scatter / np.maximum(inside.power, 1e-30)
    of_noise_db = 10.0 / np.log(10.0) * np.maximum(relative, 2.0 * inside.relative_error())
    return np.asarray(np.hypot(of_noise_db, _METHOD_DB))


def _steadiness(tone: HeardTone) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Standard deviation of the hop levels in dB, and whether the level stood still.

    It did not if the hops scatter, or drift from end to end, by more than 1 dB, or by three times
    what the noise explains if that is more. Hops in a drop-out do not count for this.
    """
    envelope, inside = tone.envelope, tone.inside
    window_s = max(WINDOW_S, WINDOW_PERIODS / tone.nominal_hz)
    power = np.abs(envelope.values) ** 2
    step_s = envelope.time_s[1] - envelope.time_s[0] if len(envelope.time_s) > 1 else np.inf
    window, hop = int(window_s / step_s), max(int(HOP_S / step_s), 1)
    starts = np.arange(0, len(power) - window, hop) if window else np.arange(0)
    if len(starts) < 2:
        return np.full(power.shape[1], np.nan), np.ones(power.shape[1], bool)
    summed, weight = np.cumsum(power, axis=0), np.cumsum(envelope.weight)
    held = (weight[starts + window] - weight[starts])[:, None]  # the taper counts for less there
    hops = (summed[starts + window] - summed[starts]) / held - inside.noise_power
    levels = 10.0 * np.log10(np.maximum(hops / np.maximum(inside.power, 1e-30), 1e-6))
    spread = np.std(levels, axis=0)
    scatter, drift = _without_drop_outs(levels)
    noise_db = 20.0 / np.log(10.0) * inside.relative_error(window_s)
    limit = np.maximum(_UNSTABLE_DB, 3.0 * noise_db)
    return np.asarray(spread), np.asarray((scatter <= limit) & (drift <= limit))


def _without_drop_outs(
    levels_db: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scatter and drift from end to end of hop levels (hops, tracks), in dB, but for drop-outs.

    Those are 3 dB or more below the median, come back, and make up a fifth of the hops at most.
    """
    low = levels_db < np.median(levels_db, axis=0) - _DROP_OUT_DB
    starts_low = np.logical_and.accumulate(low, axis=0)
    ends_low = np.logical_and.accumulate(low[::-1], axis=0)[::-1]
    left_out = low & ~starts_low & ~ends_low
    left_out &= left_out.mean(axis=0) <= _DROP_OUTS_SHARE
    weight = np.where(left_out, 0.0, 1.0)
    count = weight.sum(axis=0)
    off = levels_db - np.sum(weight * levels_db, axis=0) / count
    place = np.arange(len(levels_db))[:, None] - np.zeros(levels_db.shape[1])
    place -= np.sum(weight * place, axis=0) / count
    slope = np.sum(weight * place * off, axis=0) / np.sum(weight * place**2, axis=0)
    scatter = np.sqrt(np.sum(weight * off**2, axis=0) / count)
    return np.asarray(scatter), np.asarray(np.abs(slope) * (len(levels_db) - 1))


def _phases(
    tone: HeardTone, ok: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64], int | None]:
    """Phase and its error per track re the first valid one, in degrees."""
    if not ok.any():
        nothing = np.full(len(ok), np.nan)
        return nothing, nothing, None
    reference = int(np.argmax(ok))
    values = tone.envelope.values
    product = values * np.conj(values[:, [reference]])
    total = np.sum(product, axis=0)
    across = np.imag(product * np.conj(total)) / np.maximum(np.abs(total), 1e-30) ** 2
    noise = tone.inside.phase_error()
    bound = np.hypot(noise, noise[reference])
    error = np.maximum(clustered_error(across, tone.envelope.duration_s), bound)
    error[reference] = 0.0
    return np.degrees(np.angle(total)), np.degrees(error), reference
