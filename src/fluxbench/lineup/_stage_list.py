"""The stages that a deck has something for, and how they stand: a fold over the journal."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.lineup._plan import Plan
from fluxbench.lineup._visits import COURSE

Stages = list[Mapping[str, Any]]

_STAGE_TRIMMERS = {
    "sync": {"sync_level", "sync_high"},
    "azimuth": {"record_azimuth"},
    "azimuth again": {"record_azimuth"},
    "bias": {"bias"},
    "record level": {"record_level"},
    "low end": {"reproduce_low"},
}
"""Stages that are only there for these trimmers."""

_DISTURBS = {
    "reproduce": ("record high end", "record level", "azimuth", "azimuth again", "low end"),
    "azimuth": ("azimuth again", "verify"),
    "bias": ("record high end", "record level", "low end", "verify"),
    "record high end": ("record level", "verify"),
    "record level": ("verify",),
    "low end": ("verify",),
}
"""What has to be looked at again after a stage was gone through once more."""


def stages_of(plan: Plan, named: Sequence[str] | None = None) -> list[str]:
    """The stages that this deck has something for; of a part those that are `named`, and two."""
    kept = []
    for name in COURSE:
        needed = _STAGE_TRIMMERS.get(name)
        if needed is not None and not needed & plan.trimmers and name not in (named or ()):
            continue
        if name.startswith("azimuth") and plan.tracks < 2:
            continue
        if named is not None and name not in (*named, "input check", "close"):
            continue
        kept.append(name)
    return kept


def stages_after(
    stages: Sequence[Mapping[str, Any]], what: str, facts: Mapping[str, Any]
) -> Stages:
    """How the stages stand after an entry of the journal; what else they hold stays.

    `status` is due, now, done, skipped (for `reason`) or disturbed.
    """
    if what == "stage":
        return _entered(stages, facts["name"])
    if what in ("skipped", "repeated"):
        return _gone(stages, what, facts)
    if what in ("closed", "stopped"):
        status = "done" if what == "closed" else "due"
        return [{**s, "status": status} if s["status"] == "now" else s for s in stages]
    return list(stages)


def _entered(stages: Sequence[Mapping[str, Any]], name: str) -> Stages:
    def now(stage: Mapping[str, Any]) -> Mapping[str, Any]:
        if stage["name"] == name:
            return {**stage, "status": "now", "reason": None}
        return {**stage, "status": "done"} if stage["status"] == "now" else stage

    return [now(stage) for stage in stages]


def _gone(stages: Sequence[Mapping[str, Any]], what: str, facts: Mapping[str, Any]) -> Stages:
    disturbed = _DISTURBS.get(facts["stage"], ()) if what == "repeated" else ()

    def now(stage: Mapping[str, Any]) -> Mapping[str, Any]:
        if what == "skipped" and stage["name"] == facts["stage"]:
            return {**stage, "status": "skipped", "reason": facts["reason"]}
        if what == "repeated" and stage["status"] == "now":
            return {**stage, "status": "due"}
        if stage["name"] in disturbed and stage["status"] == "done":
            return {**stage, "status": "disturbed"}
        return stage

    return [now(stage) for stage in stages]
