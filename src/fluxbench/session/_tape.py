"""Tape time: what has run, what is left, when the section ends; from what can be seen."""

from collections.abc import Mapping
from typing import Any

from fluxbench.lineup import Plan
from fluxbench.trade import playing_time_s

STAGE_S = {
    "reproduce": (150.0, 8.0),
    "sync": (60.0, 8.0),
    "azimuth": (20.0, 1.0),
    "bias": (10.0, 40.0),
    "record high end": (20.0, 12.0),
    "record level": (10.0, 8.0),
    "azimuth again": (20.0, 1.0),
    "low end": (15.0, 15.0),
    "verify": (30.0, 0.0),
}
"""Seconds of tape that a stage takes, and more for each track: means of rehearsals."""


def tape_shown(
    deck: Mapping[str, Any] | None, plan: Plan | None, stage: str | None, counted_s: float
) -> dict[str, Any]:
    """The `tape` of a meters message; `deck` is the deck's state where it tells one."""
    needs = STAGE_S.get(stage or "")
    needs_s = None
    if plan is not None and needs is not None:
        needs_s = round(needs[0] + needs[1] * plan.tracks, 0)
    out: dict[str, Any] = {
        "running": None,
        "loaded": None,
        "counted_s": round(counted_s, 1),
        "position_s": None,
        "left_s": None,
        "needs_s": needs_s,
        "section": None,
    }
    if deck is None:
        return out
    position = float(deck["position_s"])
    out |= {
        "running": deck["transport"] != "stop",
        "loaded": deck["tape"],
        "position_s": round(position, 1),
    }
    sheet = deck.get("data_sheet") or {}
    if "length_ft" in sheet:
        length_s = float(playing_time_s(sheet["length_ft"], float(deck["speed_ips"])))
        out["left_s"] = round(max(0.0, length_s - position), 0)
    for section in sheet.get("sections", ()):
        end_s = section["start_s"] + section["seconds"]
        if section["start_s"] <= position < end_s:
            out["section"] = {
                "number": section["section"],
                "frequency_hz": section["frequency_hz"],
                "ends_in_s": round(end_s - position, 1),
            }
    return out
