"""What the line-up tones of a capture say, put together once for judging and for correcting."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._likely import (
    LEVEL_STEPS_DB,
    Likely,
    difference_db,
    likely_equalisation,
)
from fluxbench.captures.catalogue._tones import (
    REFERENCE_TONES_HZ,
    SHORT_WAVES_HZ,
    LineUpTone,
    Point,
    Tones,
    best_of,
    numbers,
    reference_of,
    response_points,
    tones_of,
)
from fluxbench.trade import (
    azimuth_from_delay_arcmin,
    azimuth_loss_db,
    wavelength_um,
)

F64 = NDArray[np.float64]

REFERENCE_HZ = 1000.0
_NEAR_RATIO = 0.03
_RATIOS = (2.0, 0.5, 4.0, 0.25)


@dataclass(frozen=True, slots=True)
class Left:
    """What the likely equalisation does not explain at a point, in dB: per track, and the mean."""

    frequency_hz: float
    each_db: F64
    mean_db: float


@dataclass(frozen=True, slots=True)
class Heard:
    """Tones, delays and polarity of a capture, and the equalisation that they make likely.

    `printed` are all line-up tones, `tones` the best of each frequency. `speed_ratio` is 2 where
    all tones lie an octave high, 1 where nothing says so.
    `delay_us` is from the mean of the tracks. `azimuth_arcmin` is NaN where speed or format are
    not declared, or only one track tells.
    """

    tracks: int
    printed: Tones
    tones: Mapping[float, LineUpTone]
    reference: LineUpTone | None
    points: tuple[Point, ...]
    likely: Likely
    left: tuple[Left, ...]
    polarity: tuple[int, ...]
    delay_us: F64
    delay_error_us: F64
    azimuth_arcmin: float
    lost_at_10_khz_db: float
    speed_offset_percent: float
    speed_tone: LineUpTone | None
    speed_ratio: float


def hear(facts: Mapping[str, Any], declared: Declared) -> Heard:
    """Put together what the tones say."""
    printed = tones_of(facts, declared.speed_tone_hz)
    tones = best_of(printed)
    reference = reference_of(tones)
    points = response_points(facts, tones, reference)
    reference_hz = reference.nominal_hz if reference is not None else REFERENCE_HZ
    aligned = facts["aligned"]
    delay_us = numbers(aligned["delay_us"])
    arcmin = _azimuth_arcmin(aligned["slope_us_per_track"], declared)
    hz = np.array([point.frequency_hz for point in points])
    lost_db = _lost_db(arcmin, hz, declared) - _lost_db(arcmin, reference_hz, declared)
    likely = likely_equalisation(points, reference_hz, declared.speed_ips, declared.played, lost_db)
    speed_tone = _speed_tone(tones, declared)
    if np.isfinite(delay_us).any():
        delay_us = delay_us - np.nanmean(delay_us)
    return Heard(
        facts["capture"]["tracks"],
        printed,
        tones,
        reference,
        tuple(points),
        likely,
        _left(points, likely, reference_hz, lost_db),
        tuple(aligned["polarity"]),
        delay_us,
        numbers(aligned["delay_us_uncertainty"]),
        arcmin,
        float(_lost_db(arcmin, 10_000.0, declared)),
        _offset_percent(speed_tone, declared),
        speed_tone,
        1.0 if speed_tone is not None else _speed_ratio(tones, reference, declared),
    )


def _azimuth_arcmin(slope_us_per_track: float | None, declared: Declared) -> float:
    layout, speed_ips = declared.layout, declared.speed_ips
    if slope_us_per_track is None or layout is None or speed_ips is None or layout.tracks < 2:
        return float("nan")
    return float(azimuth_from_delay_arcmin(slope_us_per_track, layout.pitch_mm, speed_ips))


def _lost_db(arcmin: float, hz: Any, declared: Declared) -> Any:
    """What azimuth takes from every track; 0 where it is not known."""
    if not np.isfinite(arcmin) or declared.layout is None or declared.speed_ips is None:
        return np.zeros(np.shape(hz))
    wave_um = wavelength_um(hz, declared.speed_ips)
    return azimuth_loss_db(arcmin, declared.layout.track_width_mm, wave_um)


def _left(
    points: list[Point], likely: Likely, reference_hz: float, lost_db: F64
) -> tuple[Left, ...]:
    """Off what is expected; where the equalisation is open, off flat."""
    left = []
    for point, lost in zip(points, lost_db, strict=True):
        hz = np.array(point.frequency_hz)
        expected_db = -float(lost)
        told = likely.recorded is not None or likely.as_recorded is False
        if told and likely.played is not None:
            expected_db += float(difference_db(likely.nearest, likely.played, hz, reference_hz))
        if point.frequency_hz > SHORT_WAVES_HZ:
            expected_db += _step_db(points, likely)
        left.append(
            Left(point.frequency_hz, point.each_db - expected_db, point.mean_db - expected_db)
        )
    return tuple(left)


def _step_db(points: list[Point], likely: Likely) -> float:
    """At which level the short waves were recorded; where no speed helps, the nearest step."""
    if likely.against:
        return likely.step_db
    short = [p.mean_db for p in points if p.frequency_hz > SHORT_WAVES_HZ]
    return min(LEVEL_STEPS_DB, key=lambda step: abs(float(np.mean(short)) - step))


def _speed_tone(tones: Mapping[float, LineUpTone], declared: Declared) -> LineUpTone | None:
    wanted_hz = declared.speed_tone_hz
    for tone in tones.values():
        if wanted_hz is not None and any(
            abs(hz / wanted_hz - 1.0) < _NEAR_RATIO for hz in (tone.frequency_hz, tone.nominal_hz)
        ):
            return tone
    return None


def _offset_percent(tone: LineUpTone | None, declared: Declared) -> float:
    if tone is None or declared.speed_tone_hz is None:
        return float("nan")
    return 100.0 * (tone.frequency_hz / declared.speed_tone_hz - 1.0)


def _speed_ratio(
    tones: Mapping[float, LineUpTone], reference: LineUpTone | None, declared: Declared
) -> float:
    """Played over recorded speed, where that is 2, 4, a half or a quarter.

    A declared speed tone tells, and else a reference tone that is only there an octave high, with
    another line-up tone. Half speed is not told that way: 500 Hz is a reference tone itself.
    """
    wanted: tuple[float, ...]
    for ratio in _RATIOS:
        if declared.speed_tone_hz is not None:
            wanted, others = (declared.speed_tone_hz,), 1
        elif ratio > 1.0 and reference is None:
            wanted, others = REFERENCE_TONES_HZ, 2
        else:
            continue
        if len(tones) >= others and any(
            abs(tone.frequency_hz / ratio / hz - 1.0) < _NEAR_RATIO
            for tone in tones.values()
            for hz in wanted
        ):
            return ratio
    return 1.0
