"""Intervals and findings on histories invented by seed; FLUXBENCH_HISTORIES=200 for all of them.

The generator (`tests.benches.random_histories`) knows nothing of the model that is fitted here.
"""

import os
from collections import Counter

import numpy as np
import pytest
from scipy.stats import binom

from fluxbench.history import (
    Finding,
    Outlook,
    What,
    drift_of,
    findings_of,
    forecasts_of,
    rates_of,
    trails_of,
)
from tests.benches.random_histories import deck, drifting

COUNT = int(os.environ.get("FLUXBENCH_HISTORIES", "20"))
TAIL = 0.001
"""How often chance alone may fail a check."""


@pytest.mark.timeout(900)
def test_intervals_cover_the_truth_at_their_stated_rate() -> None:
    """One track of each history, by its number, so that they are independent of each other."""
    covered = early = late = told = 0
    for seed in range(COUNT):
        made = drifting(seed)
        drift = drift_of(trails_of(made.rows)["reproduce_level"])
        rates = rates_of(drift)
        low, high = rates.interval_per_day(0.9)
        t = seed % drift.trail.tracks
        covered += bool(low[t] <= made.rate_per_day[t] <= high[t])
        forecast, leaves = forecasts_of(drift, 0.25, rates)[t], made.leaves_after_days[t]
        if forecast.outlook in (Outlook.OUT, Outlook.CANNOT_TELL):
            continue
        told += 1
        early += bool(leaves < (forecast.earliest_days or forecast.ahead_days))
        late += forecast.latest_days is not None and bool(leaves > forecast.latest_days)
    assert told >= 0.8 * COUNT
    assert binom.ppf(TAIL, COUNT, 0.9) <= covered <= binom.ppf(1.0 - TAIL, COUNT, 0.9)
    assert early <= binom.ppf(1.0 - TAIL, told, 0.05)
    assert late <= binom.ppf(1.0 - TAIL, told, 0.05)


def _is_planted(f: Finding, plant: str, where: dict[str, object]) -> bool:
    if plant == "wear":
        return f.what is What.WEAR and not f.tracks and f.trimmers == ("reproduce_high",)
    if plant == "dirt":
        some = where["tracks"]
        return f.what is What.DIRT and f.until == where["at"] and (not some or f.tracks == some)
    if plant == "relap":
        return f.what is What.RENEWED and f.until == where["at"] and bool(f.notes)
    return f.what is What.CARD and f.tracks == (where["track"],) and where["trimmer"] in f.trimmers


@pytest.mark.timeout(900)
@pytest.mark.parametrize("plant", ["wear", "dirt", "relap", "card"])
def test_what_is_planted_is_found_and_little_else(plant: str) -> None:
    """At least 95 of 100 found, and at most 5 of 100 histories with anything invented."""
    found, others = 0, Counter[str]()
    for seed in range(COUNT // 2):
        made, where = deck(seed, plant)
        told = findings_of(trails_of(made.rows), made.notes)
        planted = [f for f in told if _is_planted(f, plant, where)]
        found += bool(planted)
        others[str(len(told) > len(planted))] += 1
    least = binom.ppf(TAIL, COUNT // 2, 0.95)
    assert found >= least
    assert others["True"] <= binom.ppf(1.0 - TAIL, COUNT // 2, 0.05)


@pytest.mark.timeout(900)
def test_where_nothing_happens_nothing_is_found() -> None:
    """At most 2 of 100 quiet decks raise anything (common practice has no figure)."""
    alarms = sum(
        bool(findings_of(trails_of(deck(seed, "nothing")[0].rows))) for seed in range(COUNT)
    )
    assert alarms <= binom.ppf(1.0 - TAIL, COUNT, 0.02)


def test_too_few_visits_cannot_tell() -> None:
    made = drifting(1)
    lineups = list(dict.fromkeys(r.lineup for r in made.rows))[:3]
    few = [r for r in made.rows if r.lineup in lineups]
    told = forecasts_of(drift_of(trails_of(few)["reproduce_level"]), 0.25)
    assert {f.outlook for f in told} <= {Outlook.CANNOT_TELL, Outlook.OUT}
    assert np.isnan(rates_of(drift_of(trails_of(few)["reproduce_level"])).per_day).all()
