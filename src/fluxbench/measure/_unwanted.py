"""What should not be there: crosstalk, what erasing left, modulation noise, print-through."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import SEARCH, half_band_hz, hear, heard_in
from fluxbench.measure._spectrum import Band, Samples, band_tone, bands, checked, taper_seconds
from fluxbench.measure._tone import dbfs
from fluxbench.measure._validity import downgraded, usable, waveform_validity

F64 = NDArray[np.float64]
Held = tuple[F64, F64, F64, tuple[Validity, ...]]

_MODULATION_FROM_SHARE = 0.003
_MODULATION_TO_SHARE = 0.5
_LEAST_SHARE, _SURE = 0.05, 4.0  # of the noise around, and in its errors: what must be left


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


def crosstalk_between(
    samples: Samples, rate_hz: float, frequency_hz: float, driven_tracks: Sequence[int]
) -> RelativeReading:
    """Measure what the tone of some tracks leaves on the others, each re the nearest with it.

    Parameters and errors are those of `crosstalk`, `driven_tracks` from 1; of two equally near
    the louder one counts. The driven tracks themselves read 0.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)
    >>> four = np.stack([sine, 0.01 * sine, 0.002 * sine, 0.5 * sine], axis=1)
    >>> [round(float(level), 1) for level in crosstalk_between(four, 48_000, 1e3, [1, 4]).level_db]
    [0.0, -40.0, -48.0, 0.0]
    """
    if not driven_tracks:
        raise MisuseError("crosstalk needs a track that carries the tone: name one")
    read = crosstalk(samples, rate_hz, frequency_hz, driven_tracks[0])
    own_db = {track - 1: float(read.level_db[track - 1]) for track in driven_tracks}
    heard = {track: level_db for track, level_db in own_db.items() if np.isfinite(level_db)}
    if not heard:
        return read
    nearest_db = np.array(
        [
            min((abs(track - other), -level_db) for other, level_db in heard.items())[1]
            for track in range(len(read.level_db))
        ]
    )
    return replace(read, level_db=read.level_db + nearest_db, limit_db=read.limit_db + nearest_db)


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


def remains(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float], reference_dbfs: F64
) -> tuple[RelativeReading, ...]:
    """Measure what is left of several tones, re what each of them was on each track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; where the tones were erased, or should not be.
    rate_hz
        Sample rate in Hz.
    frequencies_hz
        Where the tones lay, within 0.5 %; `MisuseError` if the rate cannot hold one.
    reference_dbfs
        Their levels, shape (tones, tracks); where one is NaN nothing is read.

    Returns
    -------
    tuple of RelativeReading
        One a tone, as `erasure` gives it: `NO_SIGNAL` with a limit where nothing stands out.

    Examples
    --------
    >>> time_s = np.arange(96_000) / 48_000
    >>> wave = 1e-4 * np.sin(2 * np.pi * 1000 * time_s) + 1e-5 * np.sin(2 * np.pi * 3150 * time_s)
    >>> was = np.array([[-10.0], [-20.0]])
    >>> [round(float(r.level_db[0])) for r in remains(wave[:, None], 48_000, [1000.0, 3150.0], was)]
    [-70, -80]
    """
    found = _powers_at(samples, rate_hz, frequencies_hz)
    readings = []
    for (power, noise, error_db, told), level_dbfs in zip(found, reference_dbfs, strict=True):
        told = downgraded(told, np.isfinite(level_dbfs), Validity.NO_SIGNAL)
        readings.append(_relative(power, noise, error_db, told, level_dbfs))
    return tuple(readings)


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
    told = waveform_validity(checked(samples, rate_hz, frequency_hz), rate_hz, frequency_hz)
    band = _wide_band(usable(samples, rate_hz, told), rate_hz, frequency_hz)
    tone = heard_in([band], told, frequency_hz, rate_hz, len(samples) / rate_hz)
    centre_hz = tone.envelope.centre_hz
    around = _around(band, centre_hz)
    under, still_s = 0.0 * around, band.effective_s
    if quiet is not None:
        still = np.where(tone.valid, quiet, quiet.dtype.type(0))
        other = _wide_band(still, rate_hz, frequency_hz)
        under, still_s = _around(other, centre_hz), other.effective_s
    left = around - under
    # Noise in 2 B T independent values has a relative error of 1 / sqrt(B T), but both sides of
    # modulated amplitude say the same.
    width_hz = 2.0 * _MODULATION_TO_SHARE * centre_hz
    scatter, beneath = around**2 / (width_hz * band.effective_s), under**2 / (width_hz * still_s)
    hidden = np.maximum(_LEAST_SHARE * around, _SURE * np.sqrt(scatter + beneath))
    error = np.sqrt(2.0 * scatter + beneath)
    told = downgraded(tone.validity, left > hidden, Validity.NO_SIGNAL)
    ok = np.array([v is Validity.OK for v in told], bool)
    tone_dbfs = dbfs(tone.inside.power)
    return RelativeReading(
        np.where(ok, dbfs(left) - tone_dbfs, np.nan),
        np.where(ok, 10.0 / np.log(10.0) * error / np.maximum(left, 1e-30), np.nan),
        np.where(tone.valid, dbfs(hidden) - tone_dbfs, np.nan),
        told,
    )


def print_through(
    loud: Samples, echo: Samples, rate_hz: float, frequency_hz: float
) -> RelativeReading:
    """Measure an echo re the tone that printed it: the stretch of the tone, and that a turn away.

    Cut the echo before and the echo after out of a reel that is otherwise silent there, at
    `trade.echo_delay_s` from the tone, and call twice.

    `echoes` finds them by itself.

    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[:, None]
    >>> round(float(print_through(sine, 2e-3 * sine, 48_000, 1000.0).level_db[0]), 1)
    -54.0
    """
    return erasure(loud, echo, rate_hz, frequency_hz)


def _power_at(samples: Samples, rate_hz: float, frequency_hz: float, centre_hz: float) -> Held:
    checked(samples, rate_hz, frequency_hz)
    (found,) = _powers_at(samples, rate_hz, [centre_hz])
    return found


def _powers_at(samples: Samples, rate_hz: float, centres_hz: Sequence[float]) -> list[Held]:
    """Power, noise power and error of what every track holds at each of some frequencies."""
    samples = checked(samples, rate_hz, *centres_hz)
    waveform = waveform_validity(samples, rate_hz, min(centres_hz))
    fit = usable(samples, rate_hz, waveform)
    halves_hz = [half_band_hz(centre_hz) for centre_hz in centres_hz]
    taper_s = taper_seconds(min(halves_hz), len(fit) / rate_hz)
    edges_hz = [(c - 3.0 * h, c + 3.0 * h) for c, h in zip(centres_hz, halves_hz, strict=True)]
    found = []
    for band, centre_hz, half_hz in zip(
        bands(fit, rate_hz, taper_s, edges_hz), centres_hz, halves_hz, strict=True
    ):
        inside = band_tone(band, centre_hz, half_hz, 3.0 * half_hz)
        told = downgraded(waveform, inside.heard & (inside.power > 0.0), Validity.NO_SIGNAL)
        error_db = 20.0 / np.log(10.0) * inside.relative_error()
        found.append((inside.power, inside.hidden_power, error_db, told))
    return found


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


def _wide_band(samples: Samples, rate_hz: float, frequency_hz: float) -> Band:
    """All that lies around a tone, and the tone."""
    edges_hz = (1.0 + way * (_MODULATION_TO_SHARE + 2.0 * SEARCH) for way in (-1, 1))
    low_hz, high_hz = (edge * frequency_hz for edge in edges_hz)
    (band,) = bands(samples, rate_hz, 0.25 * len(samples) / rate_hz, [(low_hz, high_hz)])
    return band


def _around(band: Band, centre_hz: float) -> F64:
    """Power of both sides of a tone, (tracks,)."""
    near_hz = max(20.0, _MODULATION_FROM_SHARE * centre_hz)
    far_hz = _MODULATION_TO_SHARE * centre_hz
    below = band.between(centre_hz - far_hz, centre_hz - near_hz)
    above = band.between(centre_hz + near_hz, centre_hz + far_hz)
    return np.asarray(sum(np.sum(band.power(side), axis=0) for side in (below, above)))
