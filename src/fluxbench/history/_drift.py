"""From as left to the next as found: how far each track moved, alone and with all the others."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fluxbench.history._trail import Trail

F64 = NDArray[np.float64]
Flags = NDArray[np.bool_]

APART = 4
"""From so many tracks on, what all do together is told apart from what one does."""
JUMP_SIGMA = 5.0
BAD_DAY_SIGMA = 3.0
"""A day that is off by so much, there and back, is no drift."""
LEAST_TO_JUDGE = 4
"""So many moves make one of them stand apart."""
OF_MEDIAN = 1.2533
"""Standard error of a median of normal numbers re that of their mean: sqrt(pi/2)."""
MEDIAN_OF_CHI2 = 0.4549
"""Median of chi-squared with one degree of freedom."""


@dataclass(frozen=True, slots=True)
class Moves:
    """Moves between neighbouring visits, (intervals,) or (intervals, tracks); NaN where unknown.

    `move` is the next as found less this as left, `error` its standard error by the spreads of
    both readings. `together` is the median of the tracks.
    """

    trail: Trail
    first: NDArray[np.int_]
    """The visit at the begin of each interval; it ends with the visit after it."""
    days: F64
    move: F64
    error: F64
    together: F64
    together_error: F64
    jumped_together: Flags
    """Intervals that stand apart from all others, of `together`."""
    bad_day: Flags
    """Intervals whose later visit read off on all tracks and whose next move takes it back."""

    @property
    def steady_together(self) -> Flags:
        """Moves of `together` from which a rate may be taken, (intervals,)."""
        away = self.bad_day | np.append(False, self.bad_day[:-1])
        return np.asarray(np.isfinite(self.together) & (~self.jumped_together | away))

    @property
    def span_days(self) -> float:
        """From the first visit to the last."""
        return float(self.days.sum())

    def at(self, interval: int) -> str:
        """When the move was found."""
        return self.trail.at[int(self.first[interval]) + 1]


@dataclass(frozen=True, slots=True)
class Drift(Moves):
    """Moves with what each track did beside all others, `own`.

    Of fewer than four tracks nothing can be told apart: `own` is then all of the move.
    """

    own: F64
    jumped_alone: Flags
    """Moves that stand apart from all others of their track, of `own`, (intervals, tracks)."""

    @property
    def usable(self) -> Flags:
        """Moves from which a rate may be taken, (intervals, tracks)."""
        steady = self.steady_together[:, np.newaxis]
        if self.trail.tracks < APART:
            away = self.bad_day | np.append(False, self.bad_day[:-1])
            return np.asarray(np.isfinite(self.move) & (~self.jumped_alone | away[:, np.newaxis]))
        return np.asarray(np.isfinite(self.move) & steady & ~self.jumped_alone)


def drift_of(
    trail: Trail,
    labels: Mapping[str, str] | None = None,
    reads: Mapping[str, float] | None = None,
) -> Drift:
    """The moves of a trail, of every track alone too; see `moves_of`."""
    moves = moves_of(trail, labels, reads)
    apart = trail.tracks >= APART
    own = moves.move - moves.together[:, np.newaxis] if apart else moves.move
    told = {part.name: getattr(moves, part.name) for part in fields(moves)}
    return Drift(**told, own=own, jumped_alone=_jumps(own, moves.error, moves.days))


def moves_of(
    trail: Trail,
    labels: Mapping[str, str] | None = None,
    reads: Mapping[str, float] | None = None,
) -> Moves:
    """The moves of a trail; visits at the same time are left out.

    `labels` tell by what each line-up was read. Over a change of it a move is what is left after
    `reads`, by how much each label reads high, or not known where that is not.
    """
    days = np.diff(trail.day)
    named = [(labels or {}).get(lineup) for lineup in trail.lineups]
    known = reads or {}
    off = np.array(
        [0.0 if a == b else known.get(str(b), np.nan) - known.get(str(a), np.nan)
         for a, b in pairwise(named)]
    )  # fmt: skip
    first = np.flatnonzero((days > 0.0) & np.isfinite(off))
    days = days[first]
    move = trail.found[first + 1] - trail.left[first] - off[first, np.newaxis]
    error = np.hypot(trail.found_error[first + 1], trail.left_error[first])
    known = np.isfinite(move)
    count = known.sum(axis=1)
    together = median(move, 1)
    spread = np.sqrt(_mean(np.where(known, error, np.nan) ** 2))
    scatter = 1.4826 * median(np.abs(move - together[:, np.newaxis]), 1)
    common_error = OF_MEDIAN * np.maximum(spread, scatter) / np.sqrt(np.maximum(count, 1))
    jumped = _jumps(together[:, np.newaxis], common_error[:, np.newaxis], days)[:, 0]
    if trail.tracks < APART:
        jumped = np.zeros_like(jumped)
    bad_day = _bad_days(together, common_error, days, first)
    return Moves(trail, first, days, move, error, together, common_error, jumped, bad_day)


def _bad_days(move: F64, error: F64, days: F64, first: NDArray[np.int_]) -> Flags:
    """Visits that stand apart from the one before and, the other way, from the one after."""
    bad = np.zeros(len(move), np.bool_)
    if len(move) < LEAST_TO_JUDGE:
        return bad
    sigma, rest = _scaled(move[:, np.newaxis], error[:, np.newaxis], days)
    away = np.nan_to_num(rest / sigma)[:, 0]
    there, back = away[:-1], away[1:]
    linked = first[1:] == first[:-1] + 1
    both = np.minimum(np.abs(there), np.abs(back))
    bad[:-1] = linked & (there * back < 0.0) & (both > BAD_DAY_SIGMA)
    bad[:-1] &= np.abs(there + back) < 0.5 * np.abs(there - back)
    return bad


def median(values: F64, axis: int) -> F64:
    """Median of what is known along an axis, NaN where nothing is."""
    known = np.isfinite(values).sum(axis=axis, keepdims=True)
    ordered = np.sort(values, axis=axis)
    low = np.take_along_axis(ordered, np.maximum(known - 1, 0) // 2, axis=axis)
    high = np.take_along_axis(ordered, np.minimum(known // 2, values.shape[axis] - 1), axis=axis)
    return np.asarray(np.where(known > 0, 0.5 * (low + high), np.nan).squeeze(axis))


def _mean(values: F64) -> F64:
    known = np.isfinite(values)
    return np.asarray(np.where(known, values, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1))


def _jumps(move: F64, error: F64, days: F64) -> Flags:
    """Which moves (intervals, series) stand apart from a steady drift with a wandering part."""
    if len(days) < LEAST_TO_JUDGE:
        return np.zeros(move.shape, np.bool_)
    count = np.isfinite(move).sum(axis=0)
    sigma, rest = _scaled(move, error, days)
    limit = JUMP_SIGMA * (1.0 + 4.0 / np.maximum(count, 1))
    over = np.nan_to_num(np.abs(rest) / sigma) > limit
    return np.asarray(over & (count >= LEAST_TO_JUDGE))


def _scaled(move: F64, error: F64, days: F64) -> tuple[F64, F64]:
    """The usual size of each move, robust, and how far it is off a steady rate."""
    dt = days[:, np.newaxis]
    rest = move - weighted_median(move / dt, dt) * dt
    wander = np.maximum(0.0, median((rest**2 / MEDIAN_OF_CHI2 - error**2) / dt, 0))
    sigma = np.sqrt(error**2 + wander * dt)
    scale = np.maximum(1.0, 1.4826 * median(np.abs(rest / sigma), 0))
    return np.asarray(sigma * scale), np.asarray(rest)


def weighted_median(values: F64, weights: F64) -> F64:
    """The value (series,) below which half of the weight lies; (n, series), NaN has no weight."""
    weights = np.where(np.isfinite(values), weights, 0.0)
    order = np.argsort(values, axis=0)
    running = np.cumsum(np.take_along_axis(weights, order, axis=0), axis=0)
    at = (running >= 0.5 * running[-1]).argmax(axis=0)
    found = np.take_along_axis(np.take_along_axis(values, order, axis=0), at[np.newaxis], axis=0)
    return np.asarray(found[0])
