"""Batches of stock and calibration tapes side by side, from the moves where one took over."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.history._drift import Drift, drift_of, moves_of
from fluxbench.history._rate import common_rate_of
from fluxbench.history._trail import Trail

F64 = NDArray[np.float64]

CLOSE_DAYS = 60.0
"""Visits further apart than this compare the deck's years, not its tapes."""
HUBER = 1.5
"""Changes off by more than so many standard errors count less (Huber's weights) ..."""
FAR = 5.0
"""... and those off by more than so many hardly at all: something else happened as well."""
ROUNDS = 20
LEAST_WANDER = 0.002
"""What all tracks of a deck wander in a day at least (one sigma), in the unit of the trail."""


@dataclass(frozen=True, slots=True)
class Beside:
    """How one label reads against the reference, in `unit`, with its standard error.

    None where nothing ties it to the reference. `changes` counts the moves from or to it.
    """

    label: str
    reads: float | None
    error: float | None
    unit: str
    changes: int


def read_with(trimmer: str) -> str | None:
    """What a trimmer is read with: the calibration tape, the batch of stock, or neither."""
    if trimmer in ("reproduce_low", "bias") or trimmer.startswith("record_"):
        return None if trimmer == "record_azimuth" else "batch"
    return "tape" if trimmer.startswith(("reproduce_", "sync_")) else None


def side_by_side(trail: Trail, labels: Mapping[str, str]) -> list[Beside]:
    """Each label against the one used most, from the changes between line-ups close in time.

    Where a deck was left with one tape and is found with another, what all tracks moved together
    is the difference of the tapes, and what the deck did between: that is in the errors. Weighted
    least squares over all changes, far ones counting less. A batch that reads high on the record
    level is more sensitive; on bias it shows more over-bias, so it needs less.
    """
    same = common_rate_of(moves_of(trail, labels))
    drift = moves_of(trail)
    named = [labels.get(lineup) for lineup in trail.lineups]
    known = [name for name in named if name is not None]
    names = sorted(set(known), key=lambda n: (-known.count(n), n))
    if not names:
        return []
    wander = float((same.weight * same.wander).sum()) if same.intervals[0] >= 4 else 0.0
    wander = max(wander, LEAST_WANDER**2)
    changes = [
        (named[k], named[k + 1], i)
        for i, k in enumerate(int(f) for f in drift.first)
        if named[k] != named[k + 1] and None not in (named[k], named[k + 1])
        and drift.days[i] <= CLOSE_DAYS and np.isfinite(drift.together[i])
    ]  # fmt: skip
    design = np.zeros((len(changes), len(names)))
    for row, (before, after, _) in enumerate(changes):
        design[row, names.index(str(after))] = 1.0
        design[row, names.index(str(before))] = -1.0
    at = [i for *_, i in changes]
    variance = drift.together_error[at] ** 2 + wander * drift.days[at] + 2.0 * same.of_a_day**2
    reads, errors = _solved(design, drift.together[at], variance)
    counts = np.abs(design).sum(axis=0).astype(int)
    return [
        Beside(name, _number(reads[n]), _number(errors[n]), trail.unit, int(counts[n]))
        for n, name in enumerate(names)
    ]


def levelled(trail: Trail, labels: Mapping[str, str]) -> Drift:
    """The moves of a trail without what one tape or batch reads or needs more than another."""
    beside = side_by_side(trail, labels)
    reads = {one.label: one.reads for one in beside if one.reads is not None}
    return drift_of(trail, labels, reads)


def _solved(design: F64, moves: F64, variance: F64) -> tuple[F64, F64]:
    """Levels and standard errors re the first column, NaN where nothing ties one to it."""
    names = design.shape[1]
    reads, errors = np.full(names, np.nan), np.full(names, np.nan)
    reads[0] = errors[0] = 0.0
    tied = _tied(design)
    columns = [n for n in range(1, names) if tied[n]]
    if columns:
        of_columns = design[:, columns]
        scale = np.sqrt(variance)
        for _ in range(ROUNDS):
            weighted = of_columns / scale[:, np.newaxis]
            inverse = np.linalg.inv(weighted.T @ weighted)
            solved = inverse @ weighted.T @ (moves / scale)
            off = np.abs(moves - of_columns @ solved) / np.sqrt(variance)
            scale = (
                np.sqrt(variance)
                * np.sqrt(np.maximum(1.0, off / HUBER))
                * np.where(off > FAR, off / HUBER, 1.0)
            )
        reads[columns], errors[columns] = solved, np.sqrt(np.diag(inverse))
    return reads, errors


def _tied(design: F64) -> NDArray[np.bool_]:
    """Which columns hang together with the first over any changes."""
    tied = np.zeros(design.shape[1], np.bool_)
    tied[0] = True
    for _ in range(design.shape[1]):
        touching = (design[:, tied] != 0.0).any(axis=1)
        tied |= (design[touching] != 0.0).any(axis=0)
    return tied


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
