"""What sections tell only together, as plain values beside what the schema asks for."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fluxbench.base import Validity
from fluxbench.captures._results import AlongReel, CaptureReading, LevelSweep, MeasuredSection
from fluxbench.measure import AlongReading, LowEndReading, RelativeReading, ResponseReading

_NO_LIMIT_DB = -250.0
"""What is exactly zero hides nothing, and tells no limit."""


def number(value: Any) -> float | None:
    """A finite number, or None."""
    found = float(value)
    return found + 0.0 if np.isfinite(found) else None


def with_error(name: str, value: Any, error: Any) -> dict[str, float | None]:
    """A number and its standard uncertainty, as the schema has it."""
    return {name: number(value), f"{name}_uncertainty": number(error)}


def of_section(section: MeasuredSection, tracks: Sequence[int]) -> dict[str, Any]:
    """What one section tells beside others: nothing, for most."""
    related = section.related
    told: dict[str, Any] = {}
    if related.crosstalk is not None:
        told["crosstalk"] = {
            "driven_tracks": list(related.crosstalk.driven),
            "tracks": [
                row
                for row in _relative(related.crosstalk.reading, tracks)
                if row["track"] not in related.crosstalk.driven
            ],
        }
    if related.modulation is not None:
        told["modulation_noise"] = {"tracks": _relative(related.modulation, tracks)}
    if related.remains:
        told["remains"] = [
            {
                "frequency_hz": number(left.frequency_hz),
                "tone_start_s": number(left.tone_start_s),
                "tracks": _relative(left.reading, tracks),
            }
            for left in related.remains
        ]
    if related.echoes is not None:
        told["print_through"] = {
            "turn_s": number(related.echoes.turn_s),
            "before": _relative(related.echoes.before, tracks),
            "after": _relative(related.echoes.after, tracks),
        }
    if related.along is not None:
        told["along"] = {"tracks": _along(related.along, tracks)}
    if related.low_end:
        told["low_end"] = _low_end(related.low_end, tracks)
    return told


def of_reel(reading: CaptureReading) -> dict[str, Any]:
    """What the tones of the whole capture tell together, where there are such."""
    told: dict[str, Any] = {}
    if reading.along:
        told["along_reel"] = [_along_reel(along, reading.tracks) for along in reading.along]
    if reading.level_sweeps:
        told["level_sweeps"] = [_level_sweep(one, reading.tracks) for one in reading.level_sweeps]
    if reading.stepped is not None:
        response = reading.stepped.response
        told["stepped"] = {
            "points": points_of(response, response.validity, reading.tracks),
            "low_end": _low_end(reading.stepped.low_end, reading.tracks),
        }
    return told


def points_of(
    response: ResponseReading, validity: Sequence[Sequence[Validity]], tracks: Sequence[int]
) -> list[dict[str, Any]]:
    """A response point by point; `validity` has a row a point."""
    told = []
    for row, frequency_hz in enumerate(response.frequencies_hz):
        levels = []
        for index, track in enumerate(tracks):
            kept = 1.0 if validity[row][index] is Validity.OK else np.nan
            level = response.level_dbfs[row, index] * kept
            error = response.standard_error_db[row, index] * kept
            facts: Mapping[str, Any] = {"track": track, "validity": validity[row][index].value}
            levels.append({**facts, **with_error("level_dbfs", level, error)})
        told.append({"frequency_hz": number(frequency_hz), "tracks": levels})
    return told


def _relative(reading: RelativeReading, tracks: Sequence[int]) -> list[dict[str, Any]]:
    told = []
    for index, track in enumerate(tracks):
        validity = reading.validity[index]
        row = {
            "track": track,
            "validity": validity.value,
            **with_error("level_db", reading.level_db[index], reading.standard_error_db[index]),
        }
        if validity is Validity.NO_SIGNAL and reading.limit_db[index] > _NO_LIMIT_DB:
            row["hidden_below_db"] = number(reading.limit_db[index])
        told.append(row)
    return told


def _along(reading: AlongReading, tracks: Sequence[int]) -> list[dict[str, Any]]:
    return [
        {
            "track": track,
            "validity": reading.validity[index].value,
            **with_error(
                "slope_db_per_min",
                reading.slope_db_per_min[index],
                reading.slope_standard_error_db_per_min[index],
            ),
            "range_db": number(reading.range_db[index]),
            "spread_db": number(reading.spread_db[index]),
        }
        for index, track in enumerate(tracks)
    ]


def _along_reel(along: AlongReel, tracks: Sequence[int]) -> dict[str, Any]:
    return {
        "frequency_hz": number(along.frequency_hz),
        "starts_s": [number(start_s) for start_s in along.starts_s],
        "tracks": _along(along.reading, tracks),
    }


def _level_sweep(sweep: LevelSweep, tracks: Sequence[int]) -> dict[str, Any]:
    rows = []
    for index, track in enumerate(tracks):
        at_limit = sweep.maximum[index]
        row: dict[str, Any] = {
            "track": track,
            "validity": at_limit.validity.value,
            **with_error("maximum_output_dbfs", at_limit.output_db, at_limit.standard_error_db),
            "compression_db": [number(value) for value in sweep.compression_db[:, index]],
        }
        if sweep.highest is not None:
            row["highest_validity"] = sweep.highest[index].validity.value
            row["highest_output_dbfs"] = number(sweep.highest[index].output_db)
        rows.append(row)
    return {
        "frequency_hz": number(sweep.frequency_hz),
        "starts_s": [number(start_s) for start_s in sweep.starts_s],
        "step_db": number(sweep.step_db),
        "tracks": rows,
    }


def _low_end(readings: Sequence[LowEndReading], tracks: Sequence[int]) -> list[dict[str, Any]]:
    return [
        {
            "track": track,
            "bump_hz": number(one.bump_hz),
            "bump_db": number(one.bump_db),
            "dip_hz": number(one.dip_hz),
            "dip_db": number(one.dip_db),
            **with_error("mean_db", one.mean_db, one.mean_standard_error_db),
        }
        for track, one in zip(tracks, readings, strict=True)
    ]
