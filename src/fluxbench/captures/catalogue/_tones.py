"""The line-up tones among the facts of a capture, as arrays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._nominal import nominal_hz
from fluxbench.trade import HUM_HZ

F64 = NDArray[np.float64]

REFERENCE_TONES_HZ = (1000.0, 700.0, 500.0, 400.0, 315.0)
"""The tone that all others are compared with: the first of these that there is."""

_NOT_ALONE_HZ = (400.0, 315.0)
"""Reference tones only beside another line-up tone: notes lie there. 315 Hz is that of slow speeds
(IEC 60094-2, from memory), 400 Hz common practice."""

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

_SHORTEST_HUM_S = 0.4
_HUM_BELOW_DB = 15.0
"""So far below the reference tones beside it a low tone is hum: long waves are recorded at the
level of the reference tone. Our choice."""

_NEAR_SPEED, _FARTHEST_SPEED = 0.025, 0.12
"""A speed tone may lie farther off than other tones are known at; more is another speed."""

_LONGER = 1.1
"""A tone counts as longer than another from here on: edges are known to some hundredths."""

MEANT_DB = 5.0
"""Reference tones further apart were printed at different levels by intent. Our choice."""

_LONGEST_PAUSE_S = 20.0
"""Between tones that were printed together: time for a slate. Our choice."""


@dataclass(frozen=True, slots=True)
class LineUpTone:
    """One tone, with a number for every track, NaN where it is not valid.

    `against` is the reference tone that was printed with it, None if there is no other, or if
    `is_reference`, since it is that one itself.
    """

    nominal_hz: float
    frequency_hz: float
    offset_percent: float
    length_s: float
    level_dbfs: F64
    validity: tuple[str, ...]
    section: Mapping[str, Any]
    against: "LineUpTone | None" = None
    is_reference: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """Level at a frequency re the reference tone, in dB: of every track, and their mean.

    The mean of a short wave is that of the tracks within 1 dB of the highest: dirt, wear and
    azimuth only take away.
    """

    frequency_hz: float
    each_db: F64
    mean_db: float


@dataclass(frozen=True, slots=True)
class Tones:
    """All line-up tones in the order of the capture, and steady hum that passed for tones."""

    line_up: tuple[LineUpTone, ...]
    hum: tuple[LineUpTone, ...]

    @property
    def references(self) -> list[LineUpTone]:
        """The reference tone of every set that was printed together, where it has one."""
        return [tone for tone in self.line_up if tone.is_reference]


def tones_of(facts: Mapping[str, Any], speed_tone_hz: float | None = None) -> Tones:
    """Find the line-up tones, also of a reel far off its speed if a tone proves the speed.

    Tones were printed together if none comes twice and no long pause lies between them.
    """
    steady = [_tone(section) for section in facts["sections"] if section["kind"] == "tone"]
    if (ratio := _far_off(steady, speed_tone_hz)) != 1.0:
        steady = [_nominal_at(tone, ratio) for tone in steady]
    found = [tone for tone in steady if tone.nominal_hz and tone.length_s >= _SHORTEST_S]
    hum = [tone for tone in steady if _is_hum(tone, found)]
    sets: list[list[LineUpTone]] = []
    for tone in found:
        if any(tone is each for each in hum):
            continue
        if sets and _goes_on(sets[-1], tone):
            sets[-1].append(tone)
        else:
            sets.append([tone])
    line_up: list[LineUpTone] = []
    for printed in sets:
        reference = reference_of({tone.nominal_hz: tone for tone in printed})
        line_up += [
            replace(tone, is_reference=True)
            if tone is reference
            else replace(tone, against=reference)
            for tone in printed
        ]
    return Tones(tuple(line_up), tuple(hum))


def _far_off(tones: Sequence[LineUpTone], speed_tone_hz: float | None) -> float:
    """Played over true speed, where the speed tone and another tone lie as far off; else 1."""
    long = [tone.frequency_hz for tone in tones if tone.length_s >= _SHORTEST_S]

    def known(ratio: float) -> int:
        return sum(nominal_hz(hz / ratio) is not None for hz in long)

    ratios = [hz / speed_tone_hz for hz in long] if speed_tone_hz is not None else []
    far = [ratio for ratio in ratios if _NEAR_SPEED < abs(ratio - 1.0) < _FARTHEST_SPEED]
    best = max(far, key=known, default=1.0)
    return best if known(best) > max(known(1.0), 1) else 1.0


def _nominal_at(tone: LineUpTone, ratio: float) -> LineUpTone:
    nominal = nominal_hz(tone.frequency_hz / ratio) or 0.0
    return replace(tone, nominal_hz=nominal)


def _goes_on(printed: Sequence[LineUpTone], tone: LineUpTone) -> bool:
    pause_s = tone.section["start_s"] - printed[-1].section["end_s"]
    again = any(other.nominal_hz == tone.nominal_hz for other in printed)
    return not again and pause_s <= _LONGEST_PAUSE_S


def _tells(tone: LineUpTone) -> bool:
    return tone.nominal_hz in REFERENCE_TONES_HZ and bool(np.isfinite(tone.level_dbfs).any())


def _is_hum(tone: LineUpTone, line_up: Sequence[LineUpTone]) -> bool:
    """Far below the reference tone before it, and below the one after it."""
    on_line = any(abs(tone.frequency_hz / hz - 1.0) < _SAME_RATIO for hz in HUM_HZ)
    if not on_line or tone.length_s < _SHORTEST_HUM_S:
        return False
    start_s = tone.section["start_s"]
    tells = [other for other in line_up if _tells(other)]
    beside = [other for other in tells if other.section["start_s"] < start_s][-1:]
    beside += [other for other in tells if other.section["start_s"] > start_s][:1]
    below_db = [mean(other.level_dbfs - tone.level_dbfs) for other in beside]
    return bool(beside) and min(below_db) > _HUM_BELOW_DB


def best_of(tones: Tones) -> dict[float, LineUpTone]:
    """The best of each line-up tone.

    Most valid tracks, then the one of a set that was not printed at a lower level by intent, then
    the longest, then the first.
    """
    loudest_dbfs = max((mean(tone.level_dbfs) for tone in tones.references), default=0.0)
    best: dict[float, LineUpTone] = {}
    for tone in tones.line_up:
        held = best.get(tone.nominal_hz)
        if held is None or _better(tone, held, loudest_dbfs):
            best[tone.nominal_hz] = tone
    return best


def _better(tone: LineUpTone, held: LineUpTone, loudest_dbfs: float) -> bool:
    def worth(one: LineUpTone) -> tuple[int, bool]:
        zero_dbfs = mean((one.against or one).level_dbfs)
        meant_lower = zero_dbfs < loudest_dbfs - MEANT_DB
        return int(np.isfinite(one.level_dbfs).sum()), not meant_lower

    if worth(tone) == worth(held):
        return tone.length_s > _LONGER * held.length_s
    return worth(tone) > worth(held)


def reference_of(tones: Mapping[float, LineUpTone]) -> LineUpTone | None:
    """The tone that all others are compared with; None if there is no valid one."""
    for wanted_hz in REFERENCE_TONES_HZ:
        tone = tones.get(wanted_hz)
        alone = wanted_hz in _NOT_ALONE_HZ and len(tones) < 2
        if tone is not None and not alone and np.isfinite(tone.level_dbfs).any():
            return tone
    return None


def response_points(
    facts: Mapping[str, Any], tones: Mapping[float, LineUpTone], reference: LineUpTone | None
) -> list[Point]:
    """Levels re the reference tone printed with each: of the tones, and of sweeps in between.

    Not of multitones: nobody knows at which levels they were sent, and music can pass for one.
    """
    points: list[Point] = []
    if reference is not None:
        for at_hz, tone in sorted(tones.items()):
            if tone is not reference and at_hz not in _SPEED_TONES_HZ:
                zero = tone.against or reference
                if zero.nominal_hz != reference.nominal_hz:
                    zero = reference
                _add(points, at_hz, tone.level_dbfs - zero.level_dbfs)
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


def middle(level_dbfs: F64, declared_dbfs: float | None, within_db: float) -> float:
    """The level of the tracks as a whole, from which each is told.

    Where half of the tracks read what is declared it is theirs, and where the mean does it is the
    mean: then the tracks are uneven, and nothing else is wrong. Else the median, so that one low
    track of many moves no other. NaN if nothing is a number.
    """
    finite = level_dbfs[np.isfinite(level_dbfs)]
    if not len(finite):
        return float("nan")
    if declared_dbfs is not None:
        right = finite[np.abs(finite - declared_dbfs) <= within_db]
        if 2 * len(right) >= len(finite):
            return float(np.median(right))
        if abs(float(finite.mean()) - declared_dbfs) <= within_db:
            return float(finite.mean())
    return float(np.median(finite))


def _tone(section: Mapping[str, Any]) -> LineUpTone:
    tracks = section["tracks"]
    level_dbfs = numbers([track["level_dbfs"] for track in tracks])
    return LineUpTone(
        section["nominal_hz"] or 0.0,
        section["frequency_hz"] or float("nan"),
        float("nan") if section["offset_percent"] is None else section["offset_percent"],
        section["end_s"] - section["start_s"],
        level_dbfs,
        tuple(track["validity"] for track in tracks),
        section,
    )


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
