"""What should not be there: crosstalk, what erasing left, modulation noise, print-through."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import half_band_hz, hear
from fluxbench.measure._spectrum import Samples, band_tone, bands, checked
from fluxbench.measure._tone import dbfs
from fluxbench.measure._validity import downgraded, usable, waveform_validity

F64 = NDArray[np.float64]

_MODULATION_FROM_SHARE = 0.003
_MODULATION_TO_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class RelativeReading:
    """Levels re another; one number a track, NaN where it is not valid or does not stand out.

    `limit_db` is what the noise would have hidden: where the validity is `NO_SIGNAL` the level
    lies below.
    """

    level_db: F64
    standard_error_db: F64
    limit_db: F64
    validity: tuple[Validity, ...]


def crosstalk(
    samples: Samples, rate_hz: float, frequency_hz: float, driven_track: int
) -> RelativeReading:
    """Measure what the tone of one track leaves on the others.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; a tone on one track only.
    rate_hz, frequency_hz
        Sample rate and the tone's nominal frequency in Hz.
    driven_track
        The track with the tone, from 1.

    Returns
    -------
    RelativeReading
        Re the driven track, which itself reads 0; noise beside the tone is taken off.

    Raises
    ------
    MisuseError
        Wrong shape or frequency, or no such track.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)
    >>> both = np.stack([sine, 0.001 * sine], axis=1)
    >>> [round(float(level), 2) for level in crosstalk(both, 48_000, 1000.0, 1).level_db]
    [0.0, -60.0]
    """
    if not 1 <= driven_track <= checked(samples, rate_hz, frequency_hz).shape[1]:
        raise MisuseError(f"there is no track {driven_track}: tracks count from 1")
    driven = driven_track - 1
    tone = hear(samples[:, driven : driven + 1], rate_hz, frequency_hz)
    power, noise, error_db, told = _power_at(
        samples, rate_hz, frequency_hz, tone.envelope.centre_hz
    )
    if not tone.valid[0]:
        worst = tone.validity * len(told)
        nothing = np.full(len(told), np.nan)
        return RelativeReading(nothing, nothing, nothing, worst)
    reference_dbfs = float(dbfs(power)[driven])
    return _relative(power, noise, error_db, told, np.full(len(told), reference_dbfs))


def erasure(
    before: Samples, after: Samples, rate_hz: float, frequency_hz: float
) -> RelativeReading:
    """Measure what erasing left of a tone, re what was there before; both (frames, tracks).

    `NO_SIGNAL` with a limit is good news: nothing stands out of the noise.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[:, None]
    >>> round(float(erasure(sine, 1e-4 * sine, 48_000, 1000.0).level_db[0]), 1)
    -80.0
    """
    if before.shape[1:] != after.shape[1:]:
        raise MisuseError("before and after have different tracks: measure the same ones")
    tone = hear(before, rate_hz, frequency_hz)
    power, noise, error_db, told = _power_at(after, rate_hz, frequency_hz, tone.envelope.centre_hz)
    told = tuple(a if a is not Validity.OK else b for a, b in zip(tone.validity, told, strict=True))
    return _relative(power, noise, error_db, told, dbfs(tone.inside.power))


def modulation_noise(
    samples: Samples, rate_hz: float, frequency_hz: float, quiet: Samples | None = None
) -> RelativeReading:
    """Measure the noise around a tone that comes with it, re the tone.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; a steady tone.
    rate_hz, frequency_hz
        Sample rate and the tone's nominal frequency in Hz.
    quiet
        The same tracks without a tone, whose noise in the band is taken off; nothing is if left
        out.

    Returns
    -------
    RelativeReading
        Power within half the tone's frequency to either side but not within the larger of 20 Hz
        and 0.3 %, where flutter is. The limits are our choice: sources give none.

    Examples
    --------
    Amplitude modulation by 1 % at 100 Hz: two side lines of -46 dB, together -43.

    >>> time_s = np.arange(96_000) / 48_000
    >>> wave = (1 + 0.01 * np.sin(2 * np.pi * 100 * time_s)) * np.sin(2 * np.pi * 1000 * time_s)
    >>> round(float(modulation_noise(0.1 * wave[:, None], 48_000, 1000.0).level_db[0]), 1)
    -43.0
    """
    tone = hear(samples, rate_hz, frequency_hz)
    centre_hz = tone.envelope.centre_hz
    around = _around(samples, rate_hz, centre_hz, tone.valid)
    under = 0.0 * around if quiet is None else _around(quiet, rate_hz, centre_hz, tone.valid)
    left = around - under
    heard = left > 0.05 * around
    told = downgraded(tone.validity, heard, Validity.NO_SIGNAL)
    ok = np.array([v is Validity.OK for v in told], bool)
    level_db = dbfs(left) - dbfs(tone.inside.power)
    # Noise in 2 B T independent values has a relative error of 1 / sqrt(B T).
    bandwidth_hz = 2.0 * _MODULATION_TO_SHARE * centre_hz
    error_db = 10.0 / np.log(10.0) / np.sqrt(bandwidth_hz * len(samples) / rate_hz)
    limit_db = np.where(tone.valid, dbfs(0.05 * around) - dbfs(tone.inside.power), np.nan)
    return RelativeReading(
        np.where(ok, level_db, np.nan),
        np.where(ok, error_db * around / np.maximum(left, 1e-30), np.nan),
        limit_db,
        told,
    )


def print_through(
    loud: Samples, echo: Samples, rate_hz: float, frequency_hz: float
) -> RelativeReading:
    """Measure an echo re the tone that printed it: the stretch of the tone, and that a turn away.

    Cut the echo before and the echo after out of a reel that is otherwise silent there, at
    `trade.echo_delay_s` from the tone, and call twice.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[:, None]
    >>> round(float(print_through(sine, 2e-3 * sine, 48_000, 1000.0).level_db[0]), 1)
    -54.0
    """
    return erasure(loud, echo, rate_hz, frequency_hz)


def _power_at(
    samples: Samples, rate_hz: float, frequency_hz: float, centre_hz: float
) -> tuple[F64, F64, F64, tuple[Validity, ...]]:
    """Power, noise power and error of what every track holds at one frequency."""
    told = waveform_validity(checked(samples, rate_hz, frequency_hz), rate_hz, frequency_hz)
    fit = usable(samples, rate_hz, told)
    half_hz = half_band_hz(centre_hz)
    taper_s = min(1.0 / half_hz, 0.25 * len(fit) / rate_hz)
    reach_hz = 3.0 * half_hz
    (band,) = bands(fit, rate_hz, taper_s, [(centre_hz - reach_hz, centre_hz + reach_hz)])
    inside = band_tone(band, centre_hz, half_hz, reach_hz)
    told = downgraded(told, inside.heard & (inside.power > 0.0), Validity.NO_SIGNAL)
    error_db = 20.0 / np.log(10.0) * inside.relative_error()
    return inside.power, inside.hidden_power, error_db, told


def _relative(
    power: F64, floor: F64, error_db: F64, told: tuple[Validity, ...], reference_dbfs: F64
) -> RelativeReading:
    ok = np.array([v is Validity.OK for v in told], bool)
    return RelativeReading(
        np.where(ok, dbfs(power) - reference_dbfs, np.nan),
        np.where(ok, error_db, np.nan),
        dbfs(np.maximum(floor, 1e-25)) - reference_dbfs,
        told,
    )


def _around(samples: Samples, rate_hz: float, centre_hz: float, valid: NDArray[np.bool_]) -> F64:
    """Power of both sides of a tone, (tracks,)."""
    fit = np.where(valid, samples, samples.dtype.type(0))
    near_hz = max(20.0, _MODULATION_FROM_SHARE * centre_hz)
    far_hz = _MODULATION_TO_SHARE * centre_hz
    edges = [(centre_hz - far_hz, centre_hz - near_hz), (centre_hz + near_hz, centre_hz + far_hz)]
    sides = bands(fit, rate_hz, 0.25 * len(fit) / rate_hz, edges)
    return np.asarray(sum(np.sum(np.abs(side.lines) ** 2, axis=0) for side in sides))
