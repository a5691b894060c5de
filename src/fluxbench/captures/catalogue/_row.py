"""One capture as a flat row, for the table, and as an object, for JSON Lines."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fluxbench.captures.catalogue._against_tones import short
from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._faults import Verdict
from fluxbench.captures.catalogue._journal import Outcome
from fluxbench.captures.catalogue._judge import Judgement, judge
from fluxbench.captures.catalogue._likely import Likely
from fluxbench.trade import Equalisation

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True)
class Entry:
    """One capture of a catalogue: judged, or set aside with a reason."""

    path: str
    reel: str
    sha256: str
    facts: Mapping[str, Any] | None = None
    judgement: Judgement | None = None
    set_aside: str = ""
    same_as: str = ""
    """The path of an earlier capture with the same content."""

    corrected: str = ""
    """The path of its corrected copy."""

    @property
    def verdict(self) -> Verdict:
        """What to do with it."""
        return Verdict.SET_ASIDE if self.judgement is None else self.judgement.verdict

    @property
    def remedy(self) -> str:
        """What to do, in words."""
        return self.set_aside if self.judgement is None else self.judgement.remedy


def judged(entry: Entry, outcome: Outcome, declared: Declared) -> Entry:
    """The entry with what was measured and how it is judged, or set aside with the reason."""
    if outcome.facts is None:
        return replace(entry, set_aside=outcome.set_aside)
    return replace(entry, facts=outcome.facts, judgement=judge(outcome.facts, declared))


def shown(text: str) -> str:
    """Text that any file can hold: what a file system hides in names becomes a question mark."""
    return "".join(c if c.isprintable() else "?" for c in text)


def row_of(entry: Entry) -> dict[str, str | float | int | None]:
    """The row of the table; texts as they are, numbers finite or None."""
    row: dict[str, str | float | int | None] = {
        "reel": shown(entry.reel),
        "path": shown(entry.path),
        "verdict": entry.verdict.value,
        "remedy": shown(entry.remedy),
        "faults": "",
    }
    judged = _judged(entry) if entry.judgement is not None and entry.facts is not None else {}
    return {
        **row,
        **{name: judged.get(name) for name in _JUDGED},
        "same_as": shown(entry.same_as),
        "corrected": shown(entry.corrected),
        "sha256": entry.sha256,
    } | ({"faults": judged["faults"]} if judged else {})


_JUDGED = (
    "duration_s", "tracks", "sample_rate_hz", "container", "coding", "validity", "tones_hz",
    "reference_hz", "reference_dbfs", "balance_db", "at_10_khz_db", "at_100_hz_db", "speed_ips",
    "played", "recorded", "confidence", "fluxivity_nwb_per_m", "delay_us", "azimuth_arcmin",
    "reversed_tracks", "speed_offset_percent", "flutter_2sigma_percent", "noise_a_db", "hum_db",
    "drop_outs", "peak_dbfs", "clipped_runs", "notes", "bext", "coding_history",
)  # fmt: skip


def object_of(entry: Entry) -> dict[str, Any]:
    """The object of JSON Lines, after `catalogue.schema.json`."""
    told: dict[str, Any] = {
        "catalogue": SCHEMA_VERSION,
        "path": shown(entry.path),
        "reel": shown(entry.reel),
        "sha256": entry.sha256 or None,
        "verdict": entry.verdict.value,
        "remedy": shown(entry.remedy),
        "same_as": shown(entry.same_as) or None,
        "corrected": shown(entry.corrected) or None,
        "faults": [],
    }
    judgement, facts = entry.judgement, entry.facts
    if judgement is None or facts is None:
        return told
    heard = judgement.heard
    told["faults"] = [
        {
            "kind": fault.kind.value,
            "asks_for": fault.asks_for.value,
            "tracks": list(fault.tracks),
            "found": fault.found,
            "remedy": fault.remedy,
        }
        for fault in judgement.faults
    ]
    declared = judgement.declared
    told["declared"] = {
        "speed_ips": declared.speed_ips,
        "played": _constants(declared.played),
        "level_dbfs": declared.level_dbfs,
        "speed_tone_hz": declared.speed_tone_hz,
        "format": declared.layout.name if declared.layout else None,
        "by_history": list(declared.by_history),
    }
    told["equalisation"] = _likely(heard.likely)
    told["levels"] = {
        "reference_hz": heard.reference.nominal_hz if heard.reference else None,
        "level_dbfs": _each(heard.reference.level_dbfs) if heard.reference else [],
        "points": [
            {
                "frequency_hz": point.frequency_hz,
                "level_db": _finite(point.mean_db),
                "unexplained_db": _finite(left.mean_db),
                "unexplained_each_db": _each(left.each_db),
            }
            for point, left in zip(heard.points, heard.left, strict=True)
        ],
    }
    told["fluxivity_nwb_per_m"] = list(judgement.fluxivity_nwb_per_m) or None
    told["speed_offset_percent"] = _finite(heard.speed_offset_percent)
    told["azimuth_arcmin"] = _finite(heard.azimuth_arcmin)
    told["lost_at_10_khz_db"] = _finite(heard.lost_at_10_khz_db)
    told["measured"] = {
        **facts,
        "capture": {"path": shown(entry.path), **facts["capture"]},
    }
    return told


def _likely(likely: Likely) -> dict[str, Any]:
    return {
        "recorded": _constants(likely.recorded),
        "played": _constants(likely.played),
        "as_recorded": likely.as_recorded,
        "confidence": round(likely.confidence, 4),
        "short_waves_at_db": likely.step_db,
        "why": likely.why or None,
        "against": [
            {
                "names": list(each.names),
                **(_constants(each.equalisation) or {}),
                "error_db": round(each.error_db, 3),
                "probability": round(each.probability, 4),
            }
            for each in likely.against
        ],
    }


def _constants(equalisation: Equalisation | None) -> dict[str, float | None] | None:
    if equalisation is None:
        return None
    return {"t1_us": equalisation.t1_us, "t2_us": equalisation.t2_us}


def _judged(entry: Entry) -> dict[str, str | float | int | None]:
    judgement, facts = entry.judgement, entry.facts
    if judgement is None or facts is None:
        return {}
    heard, capture = judgement.heard, facts["capture"]
    bext = capture.get("bext", {})
    level_dbfs = heard.reference.level_dbfs if heard.reference else np.array([np.nan])
    return {
        "faults": "; ".join(dict.fromkeys(fault.kind.value for fault in judgement.faults)),
        "duration_s": _round(capture["duration_s"], 3),
        "tracks": capture["tracks"],
        "sample_rate_hz": capture["sample_rate_hz"],
        "container": capture["container"],
        "coding": capture["coding"],
        "validity": capture["validity"],
        "tones_hz": "; ".join(f"{hz:g}" for hz in sorted(heard.tones)),
        "reference_hz": heard.reference.nominal_hz if heard.reference else None,
        "reference_dbfs": _round(_mean(level_dbfs), 3),
        "balance_db": _round(_apart(level_dbfs), 3),
        **{
            f"at_{name}_db": _round(
                next((p.mean_db for p in heard.points if p.frequency_hz == hz), None), 3
            )
            for name, hz in (("10_khz", 10_000.0), ("100_hz", 100.0))
        },
        "speed_ips": judgement.declared.speed_ips,
        "played": short(heard.likely.played) if heard.likely.played else "",
        "recorded": _recorded(heard.likely),
        "confidence": _round(heard.likely.confidence, 3),
        "fluxivity_nwb_per_m": "; ".join(
            f"{value:.0f}" if value else "-" for value in judgement.fluxivity_nwb_per_m
        ),
        "delay_us": _round(_apart(heard.delay_us), 2),
        "azimuth_arcmin": _round(heard.azimuth_arcmin, 2),
        "reversed_tracks": "; ".join(str(n) for n, way in enumerate(heard.polarity, 1) if way < 0),
        "speed_offset_percent": _round(heard.speed_offset_percent, 3),
        **_worst(facts, level_dbfs),
        "peak_dbfs": _round(max((p for p in facts["peak_dbfs"] if p is not None), default=None), 2),
        "clipped_runs": sum(facts["clipped_runs"]),
        "notes": "; ".join(capture["notes"]),
        "bext": "; ".join(str(bext[name]) for name in _BEXT if bext.get(name)),
        "coding_history": " | ".join(
            ",".join(f"{key}={value}" for key, value in line.items())
            for line in bext.get("coding_history", [])
        ),
    }


_BEXT = (
    "description", "originator", "originator_reference", "origination_date", "origination_time",
)  # fmt: skip


def _recorded(likely: Likely) -> str:
    if likely.recorded is not None:
        return short(likely.recorded)
    if likely.as_recorded is False:
        return " or ".join(short(each) for each in likely.candidates)
    return "as played" if likely.as_recorded else "cannot tell"


def _worst(facts: Mapping[str, Any], level_dbfs: Any) -> dict[str, float | int | None]:
    """Of the sections: the greatest flutter, and noise and hum re the reference tone."""
    zero_dbfs = _mean(level_dbfs)
    flutter: list[float] = []
    noise: list[float] = []
    hum: list[float] = []
    drop_outs = 0
    for section in facts["sections"]:
        if section.get("flutter"):
            flutter += _those(section["flutter"]["weighted_2sigma_percent"])
        for row in section.get("tracks", []):
            noise += _those(row.get("a_weighted_dbfs"))
            hum += [line["level_dbfs"] for line in row.get("hum", [])]
            drop_outs += len(row.get("dropouts", []))
    known = zero_dbfs is not None
    return {
        "flutter_2sigma_percent": _round(max(flutter, default=None), 4),
        "noise_a_db": _round(max(noise) - zero_dbfs, 2) if noise and known else None,
        "hum_db": _round(max(hum) - zero_dbfs, 2) if hum and known else None,
        "drop_outs": drop_outs,
    }


def _those(value: float | None) -> list[float]:
    return [] if value is None else [value]


def _mean(values: Any) -> Any:
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if len(finite) else None


def _apart(values: Any) -> float | None:
    finite = values[np.isfinite(values)]
    return float(np.ptp(finite)) if len(finite) > 1 else None


def _each(values: Any) -> list[float | None]:
    return [_finite(value) for value in values]


def _finite(value: float) -> float | None:
    return float(value) + 0.0 if math.isfinite(value) else None


def _round(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0
