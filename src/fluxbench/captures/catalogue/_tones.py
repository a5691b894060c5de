"""The line-up tones among the facts of a capture, as arrays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

REFERENCE_HZ = (1000.0, 700.0, 500.0)
"""The tone that all others are compared with: the first of these that there is."""

_SHORTEST_S = 2.0
"""A line-up tone lasts at least so long; pips of a slate and notes are shorter. Our choice."""

_SPEED_TONES_HZ = (3000.0, 3150.0)
"""Recorded at a level of their own."""

_RESPONSE_AT_HZ = (40.0, 63.0, 100.0, 250.0, 4000.0, 6300.0, 10_000.0, 12_500.0, 16_000.0)
"""Where a sweep is looked at; its neighbouring points would say the same again."""

SHORT_WAVES_HZ = 3000.0
_ALIKE_DB = 1.0
_NEAR_RATIO = 0.12
_SAME_RATIO = 0.03


@dataclass(frozen=True, slots=True)
class LineUpTone:
    """One tone, with a number for every track, NaN where it is not valid."""

    nominal_hz: float
    frequency_hz: float
    offset_percent: float
    length_s: float
    level_dbfs: F64
    validity: tuple[str, ...]
    section: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Point:
    """Level at a frequency re the reference tone, in dB: of every track, and their mean.

    The mean of a short wave is that of the tracks within 1 dB of the highest: dirt, wear and
    azimuth only take away.
    """

    frequency_hz: float
    each_db: F64
    mean_db: float


def line_up_tones(facts: Mapping[str, Any]) -> dict[float, LineUpTone]:
    """The best section of each line-up tone: most valid tracks, then the longest."""
    best: dict[float, LineUpTone] = {}
    for section in facts["sections"]:
        length_s = section["end_s"] - section["start_s"]
        if section["kind"] != "tone" or length_s < _SHORTEST_S:
            continue
        tone = _tone(section, length_s)
        held = best.get(tone.nominal_hz)
        if tone.nominal_hz and (held is None or _worth(tone) > _worth(held)):
            best[tone.nominal_hz] = tone
    return best


def reference_of(tones: Mapping[float, LineUpTone]) -> LineUpTone | None:
    """The tone that all others are compared with; None if there is no valid one."""
    for nominal_hz in REFERENCE_HZ:
        tone = tones.get(nominal_hz)
        if tone is not None and np.isfinite(tone.level_dbfs).any():
            return tone
    return None


def response_points(
    facts: Mapping[str, Any], tones: Mapping[float, LineUpTone], reference: LineUpTone | None
) -> list[Point]:
    """Levels re the reference tone: of the tones, and of sweeps in between.

    Not of multitones: nobody knows at which levels they were sent, and music can pass for one.
    """
    points: list[Point] = []
    if reference is not None:
        for nominal_hz, tone in sorted(tones.items()):
            if tone is not reference and nominal_hz not in _SPEED_TONES_HZ:
                _add(points, nominal_hz, tone.level_dbfs - reference.level_dbfs)
    for section in facts["sections"]:
        if section["kind"] == "sweep":
            _add_response(points, section)
    return sorted(points, key=lambda point: point.frequency_hz)


def numbers(values: Sequence[float | None]) -> F64:
    """Numbers, NaN where there is none."""
    return np.array([np.nan if value is None else value for value in values], np.float64)


def mean(values: F64) -> float:
    """Mean of what is a number; NaN if nothing is."""
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if len(finite) else float("nan")


def _tone(section: Mapping[str, Any], length_s: float) -> LineUpTone:
    tracks = section["tracks"]
    return LineUpTone(
        section["nominal_hz"] or 0.0,
        section["frequency_hz"] or float("nan"),
        float("nan") if section["offset_percent"] is None else section["offset_percent"],
        length_s,
        numbers([track["level_dbfs"] for track in tracks]),
        tuple(track["validity"] for track in tracks),
        section,
    )


def _worth(tone: LineUpTone) -> tuple[int, float]:
    return int(np.isfinite(tone.level_dbfs).sum()), tone.length_s


def _add(points: list[Point], frequency_hz: float, each_db: F64) -> None:
    known = any(abs(p.frequency_hz / frequency_hz - 1.0) < _SAME_RATIO for p in points)
    if np.isfinite(each_db).any() and not known:
        best = each_db
        if frequency_hz > SHORT_WAVES_HZ:
            best = each_db[each_db > np.nanmax(each_db) - _ALIKE_DB]
        points.append(Point(frequency_hz, each_db, mean(best)))


def _add_response(points: list[Point], section: Mapping[str, Any]) -> None:
    told = [
        (point["frequency_hz"], numbers([track["level_dbfs"] for track in point["tracks"]]))
        for point in section["points"]
    ]
    if not told:
        return
    middle_hz, middle_dbfs = min(told, key=lambda each: abs(np.log(each[0] / 1000.0)))
    if abs(middle_hz / 1000.0 - 1.0) > _NEAR_RATIO:
        return
    for at_hz in _RESPONSE_AT_HZ:
        frequency_hz, level_dbfs = min(told, key=lambda each: abs(np.log(each[0] / at_hz)))
        if abs(frequency_hz / at_hz - 1.0) < _NEAR_RATIO:
            _add(points, frequency_hz, level_dbfs - middle_dbfs)
