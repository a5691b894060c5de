"""Sudden losses and gains of short waves: dirt, a relap, a new head."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fluxbench.history._drift import APART, Drift
from fluxbench.history._trail import Note

SHORT_WAVES = ("reproduce_high", "sync_high", "record_high")
LONG_WAVES = {"reproduce_high": "reproduce_level", "sync_high": "sync_level",
              "record_high": "record_level"}  # fmt: skip

STEP_DB = 0.3
BACK = 0.5
"""What comes back at the next visit of a loss that was trimmed out, at least."""
LONG_TOO = 0.4
"""Dirt takes less than this part of its short-wave loss from long waves."""


class What(StrEnum):
    """What the readings look like."""

    WEAR = "wear"
    DIRT = "dirt"
    RENEWED = "renewed"
    CARD = "card"
    STEP = "step"
    AZIMUTH = "azimuth"
    TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that stands out; `amount` is in `unit`, of a trend over all the time watched.

    `tracks` count from 1; none means all. `since` and `until` are UTC times of visits.
    """

    what: What
    trimmers: tuple[str, ...]
    tracks: tuple[int, ...]
    since: str
    until: str
    amount: float
    error: float
    unit: str
    per_year: float | None = None
    doubt: float | None = None
    """How likely chance alone shows as much, of a trend."""
    came_back: bool | None = None
    """Of dirt: whether what was trimmed out came back at the next visit."""
    restless: bool = False
    """Of a card: to and fro instead of one way."""
    renewed: str | None = None
    """Of wear: when the head was found renewed after it, where it was."""
    notes: tuple[Note, ...] = ()


def events_of(drifts: Mapping[str, Drift]) -> list[Finding]:
    """Losses and gains of short waves, joined over the trimmers that show them together."""
    found: dict[tuple[str, What], Finding] = {}
    for name in SHORT_WAVES:
        if name not in drifts:
            continue
        drift, long = drifts[name], drifts.get(LONG_WAVES[name])
        for event in (*_of_all(drift, long), *_of_neighbours(drift)):
            key = event.until, event.what
            before = found.get(key)
            if before is not None:
                event = both(before, event)
            found[key] = event
    return list(found.values())


def both(one: Finding, other: Finding) -> Finding:
    """The greater of two findings, with the trimmers of both."""
    most = max(one, other, key=lambda f: abs(f.amount))
    return replace(most, trimmers=(*one.trimmers, *other.trimmers))


def _of_all(drift: Drift, long: Drift | None) -> list[Finding]:
    found, taken = [], set[int]()
    sudden = drift.jumped_together if drift.trail.tracks >= APART else _all_jump(drift)
    for i in map(int, np.flatnonzero(sudden)):
        size = float(drift.together[i])
        if i in taken or abs(size) < STEP_DB:
            continue
        back = i + 1 < len(drift.move) and bool(drift.together[i + 1] >= BACK * -size)
        if size < 0.0 and _moved(long, drift.at(i)) > LONG_TOO * -size:
            continue
        if size < 0.0 and back:
            taken.add(i + 1)
        found.append(_event(drift, i, size, size < 0.0, back, ()))
    return found


def _all_jump(drift: Drift) -> NDArray[np.bool_]:
    """Of few tracks: whether all of them jump, the same way."""
    way = np.abs(np.sign(drift.move).sum(axis=1)) == drift.trail.tracks
    return np.asarray(drift.jumped_alone.all(axis=1) & way)


def _moved(long: Drift | None, at: str) -> float:
    """How far long waves moved together, found at that time."""
    if long is None:
        return 0.0
    return max((abs(float(long.together[i])) for i in range(len(long.days)) if long.at(i) == at),
               default=0.0)  # fmt: skip


def _of_neighbours(drift: Drift) -> list[Finding]:
    """Sudden losses on two or more tracks side by side, but not on all."""
    found: list[Finding] = []
    if drift.trail.tracks < APART:
        return found
    for i in map(int, np.flatnonzero(drift.jumped_alone.any(axis=1))):
        lost = drift.jumped_alone[i] & (drift.own[i] <= -STEP_DB)
        if drift.jumped_together[i] or not (lost[1:] & lost[:-1]).any():
            continue
        beside = lost & (np.append(lost[1:], False) | np.append(False, lost[:-1]))
        tracks = np.flatnonzero(beside)
        size = float(drift.move[i, tracks].mean())
        after = drift.move[i + 1, tracks].mean() if i + 1 < len(drift.move) else np.nan
        numbers = tuple(int(t) + 1 for t in tracks)
        found.append(_event(drift, i, size, True, bool(after >= BACK * -size), numbers))
    return found


def _event(
    drift: Drift, i: int, size: float, loss: bool, back: bool, tracks: tuple[int, ...]
) -> Finding:
    trail, what = drift.trail, What.DIRT if loss else What.RENEWED
    return Finding(
        what, (trail.trimmer,), tracks, trail.at[int(drift.first[i])], drift.at(i), size,
        float(drift.together_error[i]), trail.unit, came_back=back if loss else None,
    )  # fmt: skip
