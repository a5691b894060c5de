"""Pieces of one tone put together."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._azimuth import DelaysReading
from fluxbench.measure._flutter import FlutterReading
from fluxbench.measure._harmonics import HarmonicsReading
from fluxbench.measure._tone import ToneReading
from fluxbench.measure._tone_piece import ToneTake

F64 = NDArray[np.float64]

_UNSTABLE_DB = 1.0
_SECONDS_FOR_MEDIAN = 3


def taken_together(pieces: Sequence[ToneTake], told: Sequence[Validity]) -> ToneTake:
    """One take of pieces that follow each other; a track unfit in one of them is unfit."""
    if len(pieces) == 1:
        return pieces[0]
    shares = np.array([piece.tone.duration_s for piece in pieces])
    shares /= shares.sum()
    validity = _validity(pieces, told)
    ok = np.array([v is Validity.OK for v in validity], bool)
    flutters = [piece.flutter for piece in pieces if piece.flutter is not None]
    return ToneTake(
        _tone([piece.tone for piece in pieces], shares, validity, ok),
        _harmonics([piece.harmonics for piece in pieces], shares, validity, ok),
        _delays([piece.delays for piece in pieces], shares, validity, ok),
        tuple(
            tuple(drop for piece in pieces for drop in piece.drop_outs[track])
            if validity[track] in (Validity.OK, Validity.UNSTABLE)
            else ()
            for track in range(len(ok))
        ),
        np.concatenate([piece.along_s for piece in pieces]),
        np.where(ok, np.concatenate([piece.level_along_dbfs for piece in pieces]), np.nan),
        _flutter(flutters, validity, ok) if flutters else None,
    )


def _validity(pieces: Sequence[ToneTake], told: Sequence[Validity]) -> tuple[Validity, ...]:
    levels = np.stack([_typical_dbfs(piece) for piece in pieces])
    moved = np.ptp(levels, axis=0) > _UNSTABLE_DB
    return tuple(
        next(
            (v for v in (told[track], *(p.tone.validity[track] for p in pieces)) if v != "ok"),
            Validity.UNSTABLE if moved[track] else Validity.OK,
        )
        for track in range(len(told))
    )


def _typical_dbfs(piece: ToneTake) -> F64:
    """What the level is most of the time: drop-outs do not move it."""
    if len(piece.level_along_dbfs) < _SECONDS_FOR_MEDIAN:
        return piece.tone.level_dbfs
    return np.asarray(np.median(piece.level_along_dbfs, axis=0))


def _mean(values: Sequence[F64], shares: F64) -> F64:
    return np.asarray(np.tensordot(shares, np.stack(values), axes=1))


def _error(values: Sequence[F64], shares: F64) -> F64:
    return np.asarray(np.sqrt(np.tensordot(shares**2, np.stack(values) ** 2, axes=1)))


def _mean_db(levels_db: Sequence[F64], shares: F64) -> F64:
    return np.asarray(10.0 * np.log10(_mean([10.0 ** (db / 10.0) for db in levels_db], shares)))


def _tone(
    tones: Sequence[ToneReading], shares: F64, validity: tuple[Validity, ...], ok: NDArray[np.bool_]
) -> ToneReading:
    level_dbfs = _mean_db([tone.level_dbfs for tone in tones], shares)
    spread_db = np.sqrt(
        _mean(
            [tone.level_spread_db**2 + (tone.level_dbfs - level_dbfs) ** 2 for tone in tones],
            shares,
        )
    )
    reference = int(np.argmax(ok)) if ok.any() else None
    turned = [
        np.exp(1j * np.radians(tone.phase_deg - tone.phase_deg[reference or 0])) for tone in tones
    ]
    phase_deg = np.degrees(np.angle(np.tensordot(shares, np.stack(turned), axes=1)))

    def kept(values: F64) -> F64:
        return np.where(ok, values, np.nan)

    return ToneReading(
        nominal_hz=tones[0].nominal_hz,
        duration_s=float(sum(tone.duration_s for tone in tones)),
        level_dbfs=kept(level_dbfs),
        level_standard_error_db=kept(_error([t.level_standard_error_db for t in tones], shares)),
        level_spread_db=kept(spread_db),
        noise_dbfs=kept(_mean_db([t.noise_dbfs for t in tones], shares)),
        frequency_hz=kept(_mean([t.frequency_hz for t in tones], shares)),
        frequency_standard_error_hz=kept(
            _error([t.frequency_standard_error_hz for t in tones], shares)
        ),
        phase_deg=kept(phase_deg),
        phase_standard_error_deg=kept(_error([t.phase_standard_error_deg for t in tones], shares)),
        reference_track=None if reference is None else reference + 1,
        validity=validity,
    )


def _harmonics(
    readings: Sequence[HarmonicsReading],
    shares: F64,
    validity: tuple[Validity, ...],
    ok: NDArray[np.bool_],
) -> HarmonicsReading:
    """Mean power over the pieces in which a harmonic was heard, at least half of them."""
    percent = np.stack([reading.percent for reading in readings])
    error = np.stack([reading.standard_error_percent for reading in readings])
    weights = np.where(np.isnan(percent), 0.0, shares[:, None, None])
    heard_share = weights.sum(axis=0)
    heard = (heard_share >= 0.5) & ok
    weights = weights / np.maximum(heard_share, 1e-30)
    mean = np.sqrt(np.sum(weights * np.nan_to_num(percent) ** 2, axis=0))
    spread = np.sqrt(np.sum((weights * np.nan_to_num(error)) ** 2, axis=0))
    percent = np.where(heard, mean, np.nan)
    total = np.sqrt(np.nansum(percent**2, axis=0))
    total[np.isnan(percent).all(axis=0)] = np.nan
    return HarmonicsReading(
        float(np.average([reading.fundamental_hz for reading in readings], weights=shares)),
        readings[0].orders,
        percent,
        np.where(heard, spread, np.nan),
        tuple(
            tuple(
                v if v is not Validity.OK else (Validity.OK if here else Validity.NO_SIGNAL)
                for v, here in zip(validity, row, strict=True)
            )
            for row in heard
        ),
        total,
        np.where(ok, np.fmax.reduce([reading.limit_percent for reading in readings]), np.nan),
    )


def _delays(
    readings: Sequence[DelaysReading],
    shares: F64,
    validity: tuple[Validity, ...],
    ok: NDArray[np.bool_],
) -> DelaysReading:
    nothing = np.full(len(ok), np.nan)
    whole = replace(
        readings[0],
        duration_s=float(sum(reading.duration_s for reading in readings)),
        reference_track=int(np.argmax(ok)) + 1 if ok.any() else None,
        track_validity=validity,
    )
    if ok.sum() < 2 or any(reading.validity is not Validity.OK for reading in readings):
        worst = next((v for v in validity if v is not Validity.OK), Validity.NO_SIGNAL)
        return replace(
            whole, delay_us=nothing, delay_standard_error_us=nothing, scatter_us=nothing,
            scatter_standard_error_us=nothing, slope_us_per_mm=np.nan,
            slope_standard_error_us_per_mm=np.nan, validity=worst,
        )  # fmt: skip
    first = int(np.argmax(ok))

    def kept(values: F64) -> F64:
        return np.where(ok, values, np.nan)

    return replace(
        whole,
        delay_us=kept(_mean([r.delay_us - r.delay_us[first] for r in readings], shares)),
        delay_standard_error_us=kept(_error([r.delay_standard_error_us for r in readings], shares)),
        scatter_us=kept(_mean([r.scatter_us for r in readings], shares)),
        scatter_standard_error_us=kept(
            _error([r.scatter_standard_error_us for r in readings], shares)
        ),
        slope_us_per_mm=float(np.average([r.slope_us_per_mm for r in readings], weights=shares)),
        slope_standard_error_us_per_mm=float(
            _error([np.array(r.slope_standard_error_us_per_mm) for r in readings], shares)
        ),
    )


def _flutter(
    readings: Sequence[FlutterReading], validity: tuple[Validity, ...], ok: NDArray[np.bool_]
) -> FlutterReading:
    """Means over the pieces of 5 s or more; the greatest deviation; the first one's spectrum."""
    long = [r for r in readings if Validity.TOO_SHORT not in r.validity] or list(readings)
    seconds = np.array([reading.duration_s for reading in long])
    shares = seconds / seconds.sum()

    def kept(values: F64) -> F64:
        return np.where(ok, values, np.nan)

    return replace(
        long[0],
        frequency_hz=float(np.average([r.frequency_hz for r in long], weights=shares)),
        duration_s=float(seconds.sum()),
        weighted_quasi_peak_percent=kept(
            _mean([r.weighted_quasi_peak_percent for r in long], shares)
        ),
        weighted_2_sigma_percent=kept(
            np.sqrt(_mean([r.weighted_2_sigma_percent**2 for r in long], shares))
        ),
        weighted_2_sigma_standard_error_percent=kept(
            _error([r.weighted_2_sigma_standard_error_percent for r in long], shares)
        ),
        unweighted_percent=kept(np.max([r.unweighted_percent for r in long], axis=0)),
        validity=validity,
    )
