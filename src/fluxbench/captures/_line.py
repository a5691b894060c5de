"""A capture as one JSON object, after `read.schema.json`; numbers are finite or None."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._line_related import number, of_reel, of_section, points_of, with_error
from fluxbench.captures._nominal import nominal_hz
from fluxbench.captures._results import CaptureReading, MeasuredSection
from fluxbench.captures._sections import Kind
from fluxbench.measure import FlutterReading


def line_of(reading: CaptureReading) -> dict[str, Any]:
    """Everything that was read in a capture, ready for `json.dumps`."""
    header = reading.header
    capture: dict[str, Any] = {
        "path": reading.path,
        "sample_rate_hz": header.rate_hz,
        "tracks": header.tracks,
        "duration_s": number(reading.duration_s),
        "validity": reading.validity.value,
        "notes": list(reading.notes),
        "container": header.container,
        "coding": header.coding,
    }
    if header.broadcast is not None:
        capture["bext"] = _broadcast(asdict(header.broadcast))
    return {
        "capture": capture,
        "sections": [_section(section, reading.tracks) for section in reading.sections],
        "azimuth": _azimuth(reading),
        **of_reel(reading),
    }


def _broadcast(fields: Mapping[str, Any]) -> dict[str, Any]:
    told = {name: value for name, value in fields.items() if value is not None}
    told["time_reference_samples"] = told.pop("time_reference")
    return {**told, "coding_history": list(told["coding_history"])}


def _section(section: MeasuredSection, tracks: tuple[int, ...]) -> dict[str, Any]:
    told: dict[str, Any] = {
        "kind": section.kind.value,
        "start_s": number(section.start_s),
        "end_s": number(section.end_s),
    }
    match section.kind:
        case Kind.TONE:
            told |= _tone(section, tracks)
        case Kind.NOISE:
            told["tracks"] = _noise(section, tracks)
        case Kind.MULTITONE | Kind.SWEEP:
            told["points"] = _points(section, tracks)
    return told | of_section(section, tracks)


def _tone(section: MeasuredSection, tracks: tuple[int, ...]) -> dict[str, Any]:
    take = section.tone
    if take is None:
        return {"frequency_hz": None, "nominal_hz": None, "offset_percent": None, "tracks": []}
    validity = section.track_validity()
    ok = np.array([v is Validity.OK for v in validity])
    mean_hz, error_hz = _mean(take.tone.frequency_hz[ok]), np.nan
    if np.isfinite(mean_hz):
        error_hz = _mean(take.tone.frequency_standard_error_hz[ok])
    nominal = nominal_hz(mean_hz)
    offset = 100.0 * (mean_hz / nominal - 1.0) if nominal else np.nan
    offset_error = 100.0 * error_hz / nominal if nominal else np.nan
    told: dict[str, Any] = {
        **with_error("frequency_hz", mean_hz, error_hz),
        "nominal_hz": nominal,
        **with_error("offset_percent", offset, offset_error),
        "tracks": [
            _tone_track(section, track, index, validity[index])
            for index, track in enumerate(tracks)
        ],
    }
    if take.flutter is not None and take.tone.duration_s >= 5.0 - 1e-6:
        told["flutter"] = _flutter(take.flutter, ok)
    return told


def _tone_track(
    section: MeasuredSection, track: int, index: int, validity: Validity
) -> dict[str, Any]:
    take = section.tone
    if take is None:
        return {}
    tone, harmonics = take.tone, take.harmonics
    kept = np.nan if validity is not Validity.OK else 1.0
    told: dict[str, Any] = {"track": track, "validity": validity.value}
    for name, value, error in (
        ("level_dbfs", tone.level_dbfs, tone.level_standard_error_db),
        ("frequency_hz", tone.frequency_hz, tone.frequency_standard_error_hz),
        ("phase_deg", tone.phase_deg, tone.phase_standard_error_deg),
        ("harmonic2_percent", harmonics.percent[0], harmonics.standard_error_percent[0]),
        ("harmonic3_percent", harmonics.percent[1], harmonics.standard_error_percent[1]),
    ):
        told |= with_error(name, kept * value[index], error[index] * kept)
    for row, order in enumerate((2, 3)):
        hidden = kept * harmonics.limit_percent[row][index]
        if np.isfinite(hidden) and told[f"harmonic{order}_percent"] is None:
            told[f"harmonic{order}_hidden_below_percent"] = number(hidden)
    told["level_spread_db"] = number(kept * tone.level_spread_db[index])
    told["thd_percent"] = number(kept * harmonics.total_percent[index])
    told["dropouts"] = [
        {
            "start_s": number(section.measured_from_s + drop.start_s),
            "length_ms": number(drop.length_ms),
            "depth_db": number(drop.depth_db),
        }
        for drop in take.drop_outs[index]
        if validity is Validity.OK
    ]
    return told


def _flutter(flutter: FlutterReading, ok: NDArray[np.bool_]) -> dict[str, Any]:
    error = _mean(flutter.weighted_2_sigma_standard_error_percent[ok])
    return {
        "weighted_quasi_peak_percent": number(_mean(flutter.weighted_quasi_peak_percent[ok])),
        **with_error("weighted_2sigma_percent", _mean(flutter.weighted_2_sigma_percent[ok]), error),
        "unweighted_percent": number(_mean(flutter.unweighted_percent[ok])),
        "components": [
            {"frequency_hz": number(c.frequency_hz), "peak_percent": number(c.peak_percent)}
            for c in flutter.components
        ],
    }


def _noise(section: MeasuredSection, tracks: tuple[int, ...]) -> list[dict[str, Any]]:
    reading = section.noise
    validity = section.track_validity()
    told = []
    for index, track in enumerate(tracks):
        row: dict[str, Any] = {"track": track, "validity": validity[index].value}
        sound = reading is not None and validity[index] is Validity.OK
        for name in ("unweighted_dbfs", "a_weighted_dbfs", "bs468_dbfs"):
            value = error = np.nan
            if sound:
                value = getattr(reading, name)[index]
                error = getattr(reading, name.replace("_dbfs", "_standard_error_db"))[index]
            row |= with_error(name, value, error)
        row["hum"] = [
            {
                "frequency_hz": number(line.frequency_hz),
                **with_error("level_dbfs", line.level_dbfs, line.standard_error_db),
            }
            for line in (reading.hum[index] if reading is not None and sound else ())
        ]
        told.append(row)
    return told


def _points(section: MeasuredSection, tracks: tuple[int, ...]) -> list[dict[str, Any]]:
    response = section.response
    if response is None:
        return []
    against = section.validity
    told = [
        [own if known is Validity.OK else known for known, own in zip(against, row, strict=True)]
        for row in response.validity
    ]
    return points_of(response, told, tracks)


def _azimuth(reading: CaptureReading) -> dict[str, Any]:
    azimuth = reading.azimuth
    return {
        "validity": azimuth.validity.value,
        "reference_track": azimuth.reference_track,
        "frequency_hz": number(azimuth.frequency_hz),
        "delay_us": [number(value) for value in azimuth.delay_us],
        "delay_us_uncertainty": [number(value) for value in azimuth.delay_standard_error_us],
        **with_error(
            "slope_us_per_track",
            azimuth.slope_us_per_track,
            azimuth.slope_standard_error_us_per_track,
        ),
        "scatter_us": [number(value) for value in azimuth.scatter_us],
    }


def _mean(values: Any) -> float:
    """Mean of what is a number; NaN if nothing is."""
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if len(finite) else float("nan")
