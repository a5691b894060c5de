"""What moves together and what alone: wear, dirt, cards, azimuth, steps back."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from fluxbench.history._beside import levelled
from fluxbench.history._drift import APART, Drift
from fluxbench.history._lives import begin_of, lives_of
from fluxbench.history._rate import (
    LEAST_INTERVALS,
    WANDER_PER_ROOT_DAY,
    Rates,
    common_rate_of,
    own_rates_of,
)
from fluxbench.history._sudden import SHORT_WAVES, Finding, What, both, events_of
from fluxbench.history._trail import Note, Trail, days_of

F64 = NDArray[np.float64]

STACK = ("reproduce_azimuth", "record_azimuth")

DOUBT = 1e-3
"""Most doubt about a trend, over all tracks of a trimmer together."""
DOUBT_TOGETHER = 1e-4
"""The same about what all tracks do."""
PART_OF_WEAR = 0.5
"""A track that goes alone by less than this part of what all do is no card."""
DOUBT_RESTLESS = 1e-9
"""The same about a track that wanders more than the others."""
ONE_SIDED = 0.8
"""Share of the tracks that go the same way where all of them do."""
PART_OF_BAND = 0.5
"""A trend counts from this part of what is accepted, over all the time watched."""

NOTE_DAYS = 21.0
"""How far a service note may lie from what it explains."""

USUAL_BANDS = {"level": 0.25, "high": 0.5, "low": 0.5, "bias": 0.5, "azimuth": 1.0}
"""Accepted, plus and minus (dB, arc-minutes), where nothing else is given; see `trade`."""


def band_of(trimmer: str, bands: Mapping[str, float] | None = None) -> float:
    """What is accepted of a trimmer, plus and minus."""
    if bands and trimmer in bands:
        return bands[trimmer]
    return USUAL_BANDS.get(trimmer.rsplit("_", 1)[-1], 0.5)


def findings_of(
    trails: Mapping[str, Trail],
    notes: Sequence[Note] = (),
    bands: Mapping[str, float] | None = None,
    labels: Mapping[str, Mapping[str, str]] | None = None,
) -> list[Finding]:
    """All that stands out on a deck, newest first.

    `labels` tell for a trimmer by which tape or batch each line-up was read; what one of them
    reads or needs more than another is taken off first.
    """
    labels = labels or {}
    drifts = {n: levelled(t, labels.get(n, {})) for n, t in trails.items() if t.visits > 1}
    events = events_of(drifts)
    events = [replace(e, notes=_near(notes, e)) for e in events]
    at = {e.until for e in events} | _next_visits(drifts, {e.until for e in events if e.came_back})
    slow = _trends(drifts, bands)
    cards = [c for c in _cards(drifts, bands) if not _part_of(slow, c)]
    found = [*events, *slow, *cards, *_steps(drifts, at, bands)]
    found = [f if f.notes else replace(f, notes=_near(notes, f)) for f in found]
    return sorted(found, key=lambda f: (f.until, f.since), reverse=True)


def _next_visits(drifts: Mapping[str, Drift], at: set[str]) -> set[str]:
    pairs = {pair for drift in drifts.values() for pair in pairwise(drift.trail.at)}
    return {after for before, after in pairs if before in at}


def _part_of(slow: Sequence[Finding], card: Finding) -> bool:
    """Whether a track only does somewhat more or less of what all do slowly."""
    return any(
        set(card.trimmers) <= set(f.trimmers) and abs(card.amount) < PART_OF_WEAR * abs(f.amount)
        for f in slow
    )


def _near(notes: Sequence[Note], of: Finding) -> tuple[Note, ...]:
    """Notes that lie near a sudden thing."""
    if of.what not in (What.DIRT, What.RENEWED, What.STEP, What.AZIMUTH):
        return ()
    first, last = days_of((of.since, of.until))
    if of.what in (What.DIRT, What.STEP):
        first = last
    return tuple(n for n in notes if first - NOTE_DAYS <= days_of((n.at,))[0] <= last + NOTE_DAYS)


# --- Slow, on all tracks --------------------------------------------------------------------------


def _trends(drifts: Mapping[str, Drift], bands: Mapping[str, float] | None) -> list[Finding]:
    found = []
    for name, drift in drifts.items():
        if drift.trail.tracks == 1 and name in STACK:
            continue
        band = band_of(name, bands)
        found += _of_lives(drift, band) or [f for f in (_trend_of_all(drift, band),) if f]
    return _joined(found)


def _of_lives(drift: Drift, band: float) -> list[Finding]:
    """Trends within the lives of a head, of which the older ones are over."""
    lives = lives_of(drift)
    if len(lives) == 1:
        return []
    renewed = [begin_of(life) for life in lives[1:]]
    told = [_trend_of_all(life, band) for life in lives]
    return [
        replace(f, renewed=at)
        for f, at in zip(told, [*renewed, None], strict=True)
        if f is not None
    ]


def _trend_of_all(drift: Drift, band: float) -> Finding | None:
    """What all tracks do slowly, if it is beyond doubt and of any size."""
    if not len(drift.days):
        return None
    rates = common_rate_of(drift)
    rate, error = float(rates.per_day[0]), float(rates.error_per_day[0])
    if not np.isfinite(rate) or float(rates.doubt[0]) > DOUBT_TOGETHER:
        return None
    if abs(rate * drift.span_days) < PART_OF_BAND * band or not _one_way(drift, rate):
        return None
    wear = drift.trail.trimmer in SHORT_WAVES and rate < 0.0
    return _trend(drift, What.WEAR if wear else What.TOGETHER, (), rate, error, rates.doubt[0])


def _joined(found: Sequence[Finding]) -> list[Finding]:
    """Wear that shows on both heads is one finding: both play the same calibration tape."""
    wear = [
        f
        for f in found
        if f.what is What.WEAR and f.trimmers[0] != "record_high" and f.renewed is None
    ]
    if len(wear) < 2:
        return list(found)
    most = max(wear, key=lambda f: abs(f.amount))
    names = tuple(f.trimmers[0] for f in wear)
    return [replace(most, trimmers=names), *(f for f in found if f not in wear)]


def _one_way(drift: Drift, rate: float) -> bool:
    """Whether nearly all tracks go that way."""
    total = np.where(drift.usable, drift.move, 0.0).sum(axis=0)
    share = np.mean(np.sign(total) == np.sign(rate))
    return bool(share >= (ONE_SIDED if drift.trail.tracks >= APART else 1.0))


def _trend(
    drift: Drift, what: What, tracks: tuple[int, ...], rate: float, error: float, doubt: float
) -> Finding:
    trail, span = drift.trail, drift.span_days
    return Finding(
        what, (trail.trimmer,), tracks, trail.at[int(drift.first[0])],
        drift.at(len(drift.days) - 1), rate * span, error * span, trail.unit,
        per_year=365.25 * rate, doubt=float(doubt),
    )  # fmt: skip


# --- Alone ----------------------------------------------------------------------------------------


def _cards(drifts: Mapping[str, Drift], bands: Mapping[str, float] | None) -> list[Finding]:
    """Tracks that drift or wander alone, joined over the trimmers of a track."""
    found: dict[tuple[int, bool], Finding] = {}
    for name, drift in drifts.items():
        stack, band = name in STACK, band_of(name, bands)
        rates = own_rates_of(drift)
        alone = _going(drift, rates, band)
        alone += [] if stack else _wandering(drift, rates, band, {f.tracks[0] for f in alone})
        if len(alone) > max(1, drift.trail.tracks // 3):
            continue  # what so many do is no card
        for one in alone:
            if stack:
                one = replace(one, what=What.AZIMUTH, tracks=())
            key = one.tracks[0] if one.tracks else -len(found) - 1, one.restless
            before = found.get(key)
            found[key] = one if before is None else both(before, one)
    return list(found.values())


def _going(drift: Drift, rates: Rates, band: float) -> list[Finding]:
    rate, error, doubt = rates.per_day, rates.error_per_day, rates.doubt * drift.trail.tracks
    far = np.abs(rate) * drift.span_days >= PART_OF_BAND * band
    return [
        _trend(drift, What.CARD, (int(t) + 1,), float(rate[t]), float(error[t]), float(doubt[t]))
        for t in np.flatnonzero(np.isfinite(rate) & (doubt < DOUBT) & far)
    ]


def _wandering(drift: Drift, rates: Rates, band: float, known: Iterable[int]) -> list[Finding]:
    """Tracks whose own moves are far greater than those of most others."""
    usable = np.isfinite(drift.own)
    count = usable.sum(axis=0)
    if drift.trail.tracks < APART or count.max(initial=0) < LEAST_INTERVALS:
        return []
    typical = float(np.median((rates.weight * rates.wander).sum(axis=0)))
    expected = drift.error**2 + max(typical, WANDER_PER_ROOT_DAY[0] ** 2) * drift.days[:, None]
    z2 = np.where(usable & ~drift.jumped_alone, drift.own**2 / expected, 0.0)
    common = float(np.median(z2.sum(axis=0) / np.maximum(count, 1)))
    chance = chdtrc(np.maximum(count, 1), z2.sum(axis=0) / max(common, 1.0))
    own = np.where(usable, drift.own, 0.0)
    rms = np.sqrt((own**2).sum(axis=0) / np.maximum(count, 1))
    found = []
    for t in np.flatnonzero((chance < DOUBT_RESTLESS) & (rms >= 0.4 * PART_OF_BAND * band)):
        if int(t) + 1 not in set(known):
            error = float(rms[t] / np.sqrt(2.0 * count[t]))
            one = _trend(drift, What.CARD, (int(t) + 1,), 0.0, 0.0, float(chance[t]))
            found.append(
                replace(one, amount=float(rms[t]), error=error, per_year=None, restless=True)
            )
    return found


def _steps(
    drifts: Mapping[str, Drift], explained: set[str], bands: Mapping[str, float] | None
) -> list[Finding]:
    """Single tracks, stacks and levels of all tracks that jumped, where nothing else says why."""
    found: dict[tuple[str, int], Finding] = {}
    for name, drift in drifts.items():
        least = band_of(name, bands)
        for i, track, size, error in _jumped(drift, name):
            at = drift.at(i)
            if at in explained or abs(size) < least:
                continue
            what = What.AZIMUTH if name in STACK else What.STEP if track else What.TOGETHER
            tracks = (track,) if track and name not in STACK else ()
            one = Finding(what, (name,), tracks, drift.trail.at[int(drift.first[i])], at, size,
                          error, drift.trail.unit)  # fmt: skip
            key = at, track if name not in STACK else -1 - STACK.index(name)
            before = found.get(key)
            found[key] = one if before is None else both(before, one)
    return list(found.values())


def _jumped(drift: Drift, name: str) -> list[tuple[int, int, float, float]]:
    """Interval, track (0: all), size, error."""
    jumps = [
        (int(i), int(t) + 1, float(drift.own[i, t]), float(drift.error[i, t]))
        for i, t in np.argwhere(drift.jumped_alone)
    ]
    if name not in SHORT_WAVES:
        jumps += [
            (int(i), 0, float(drift.together[i]), float(drift.together_error[i]))
            for i in np.flatnonzero(drift.jumped_together)
        ]
    return jumps
