"""When a tolerance will be left if everything goes on as it did."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from fluxbench.history._drift import Drift
from fluxbench.history._rate import Rates, rates_of

F64 = NDArray[np.float64]

COVERAGE = 0.9
AHEAD = 2.0
"""How far ahead is looked, in parts of how long the deck has been watched."""
LEAST_SPAN_DAYS = 60.0
MOST_DAYS = 1826.0
STEPS = 40
PARTS = 12
"""So many of the likeliest wanders are followed."""
NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
PLACES, PLACE_WEIGHTS = np.polynomial.hermite_e.hermegauss(3)


class Outlook(StrEnum):
    """What can be said."""

    EXPECTED = "expected"
    """It will be left between two dates."""
    NOT_BEFORE = "not before"
    """It will not be left before a date; after it, perhaps never."""
    STAYS = "stays"
    """It will not be left as far as can be looked ahead."""
    OUT = "out"
    """It is out of tolerance as it was left."""
    CANNOT_TELL = "cannot tell"
    """Too few visits, or over too short a time."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """Of one track, in days after the last as left; None where it lies beyond `ahead_days`.

    The tolerance is left before `earliest_days` with a chance of half of what `coverage` leaves,
    after `latest_days` with the other half.
    """

    outlook: Outlook
    tolerance: float
    coverage: float
    ahead_days: float
    earliest_days: float | None = None
    likely_days: float | None = None
    latest_days: float | None = None


def forecasts_of(drift: Drift, tolerance: float, rates: Rates | None = None) -> list[Forecast]:
    """A forecast of every track, for a band of plus and minus `tolerance` around the target."""
    rates = rates_of(drift) if rates is None else rates
    ahead = min(AHEAD * drift.span_days, MOST_DAYS)
    place, error = last_left(drift)
    passed, days = chance_of_leaving(rates, place, error, tolerance, ahead)
    found = []
    for t in range(drift.trail.tracks):
        unknown = not np.isfinite(rates.per_day[t]) or not np.isfinite(place[t])
        if not unknown and abs(place[t]) > tolerance:
            outlook = Outlook.OUT
        elif unknown or drift.span_days < LEAST_SPAN_DAYS:
            outlook = Outlook.CANNOT_TELL
        else:
            found.append(_told(passed[:, t], days, tolerance, ahead))
            continue
        found.append(Forecast(outlook, tolerance, COVERAGE, ahead))
    return found


def _told(passed: F64, days: F64, tolerance: float, ahead: float) -> Forecast:
    tail = 0.5 * (1.0 - COVERAGE)
    earliest, likely, latest = (_when(passed, days, part) for part in (tail, 0.5, 1.0 - tail))
    outlook = Outlook.EXPECTED
    if latest is None:
        outlook = Outlook.STAYS if earliest is None else Outlook.NOT_BEFORE
    return Forecast(outlook, tolerance, COVERAGE, ahead, earliest, likely, latest)


def _when(passed: F64, days: F64, part: float) -> float | None:
    if passed[-1] < part:
        return None
    at = int(np.searchsorted(passed, part))
    if at == 0:
        return float(days[0])
    share = (part - passed[at - 1]) / max(passed[at] - passed[at - 1], 1e-12)
    return float(days[at - 1] + share * (days[at] - days[at - 1]))


def last_left(drift: Drift) -> tuple[F64, F64]:
    """Where every track was left last and its standard error, (tracks,) each."""
    trail = drift.trail
    known = np.isfinite(trail.left)
    newest = np.where(known.any(axis=0), len(known) - 1 - np.argmax(known[::-1], axis=0), 0)
    each = np.arange(trail.tracks)
    return trail.left[newest, each], trail.left_error[newest, each]


def chance_of_leaving(
    rates: Rates, place: F64, error: F64, tolerance: float, ahead_days: float
) -> tuple[F64, F64]:
    """The chance (steps, tracks) that the band has been left by each of these days (steps,).

    First passage of a wandering with drift (inverse Gaussian), averaged over what is not known:
    rate, wander, and where the track stands. A band has two edges; a track goes out by either.
    """
    days = np.geomspace(1.0, max(ahead_days, 2.0), STEPS)
    likely = np.argsort(-rates.weight, axis=0)[:PARTS]
    weight, centre, spread, wander = (
        np.take_along_axis(np.broadcast_to(of, rates.weight.shape), likely, axis=0)
        for of in (rates.weight, rates.centre, rates.sigma, rates.wander)
    )
    weight = weight / weight.sum(axis=0)
    sigma = np.hypot(error, rates.of_a_day)
    chance = np.zeros((STEPS, len(place)))
    at_days = days[:, np.newaxis, np.newaxis]
    for node, node_weight in zip(NODES, NODE_WEIGHTS / NODE_WEIGHTS.sum(), strict=True):
        rate = centre + node * spread
        for off, place_weight in zip(PLACES, PLACE_WEIGHTS / PLACE_WEIGHTS.sum(), strict=True):
            here = place + off * sigma
            up = first_passage(np.maximum(tolerance - here, 1e-6), rate, wander, at_days)
            down = first_passage(np.maximum(tolerance + here, 1e-6), -rate, wander, at_days)
            either = up + down - up * down
            chance += node_weight * place_weight * (weight * either).sum(axis=1)
    return np.maximum.accumulate(chance, axis=0), days


def first_passage(way: F64, rate: F64, wander: F64, days: F64) -> F64:
    """The chance that a Wiener process has gone `way` (above 0) by these days.

    Closed form of Schroedinger and of Smoluchowski, 1915 (from memory): Phi((r t - a)/s) +
    exp(2 a r/w) Phi(-(r t + a)/s), s = sqrt(w t). Arguments broadcast.
    """
    root = np.sqrt(wander * days)
    mirrored = 2.0 * way * rate / wander + log_ndtr(-(rate * days + way) / root)
    return np.asarray(ndtr((rate * days - way) / root) + np.exp(np.minimum(mirrored, 0.0)))
