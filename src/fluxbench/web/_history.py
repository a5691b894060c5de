"""History: what a deck's readings did over the years, what to think of it, tapes and batches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from numpy.typing import NDArray
from starlette.exceptions import HTTPException

from fluxbench.base import MisuseError
from fluxbench.book import Records, Visit
from fluxbench.history import (
    Drift,
    Forecast,
    Note,
    Rates,
    Trail,
    band_of,
    begin_of,
    common_rate_of,
    findings_of,
    forecasts_of,
    levelled,
    newest_life_of,
    own_rates_of,
    rates_of,
    read_with,
    side_by_side,
    suggestion_of,
    trails_from,
)
from fluxbench.trade import azimuth_tolerance
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS

DAYS_PER_YEAR = 365.25
Deck = Annotated[str | None, Query(max_length=64)]
Speed = Annotated[float | None, Query(gt=0.0, le=120.0)]
Newest = Annotated[int, Query(ge=2, le=1000)]
Tolerance = Annotated[float | None, Query(gt=0.0, le=100.0)]

router = APIRouter(prefix="/api/history", responses=REFUSALS)


@dataclass(frozen=True, slots=True)
class Watched:
    """The newest line-ups of a deck."""

    visits: Sequence[Visit]
    trails: Mapping[str, Trail]
    bands: Mapping[str, float]

    def labels(self, trimmer: str) -> dict[str, str]:
        """By which tape or batch each line-up read a trimmer."""
        kind = read_with(trimmer)
        named = {v.lineup: v.tape if kind == "tape" else v.batch for v in self.visits}
        return {} if kind is None else {k: n for k, n in named.items() if n is not None}


def watch(
    book: Records,
    deck: str | None,
    speed_ips: float | None,
    newest: int,
    trimmer: str | None = None,
    read_by: str | None = None,
) -> Watched:
    """Read what a history is made of: one trimmer, those read with a tape or a batch, or all."""
    visits = book.visits_of(deck, speed_ips, newest)
    names = [name for name, *_ in book.trimmers_told(visits)] if trimmer is None else [trimmer]
    names = [name for name in names if read_by in (None, read_with(name))]
    trails = trails_from([(v.lineup, v.at) for v in visits], book.packs_at(visits, names))
    return Watched(visits, trails, _bands(book, deck))


@router.get("")
def overview(
    session: Bench, deck: Deck = None, speed_ips: Speed = None, newest: Newest = 100
) -> dict[str, Any]:
    """The newest line-ups of a deck, and what was read at them."""
    visits = session.book.visits_of(deck, speed_ips, newest)
    bands = _bands(session.book, deck)
    return {
        "deck": deck,
        "line_ups": [
            {"id": v.lineup, "at": v.at, "tape": v.tape, "batch": v.batch} for v in visits
        ],
        "trimmers": [
            {"trimmer": name, "unit": unit, "tracks": tracks, "tolerance": band_of(name, bands),
             "read_with": read_with(name)}
            for name, unit, tracks in session.book.trimmers_told(visits)
        ],
    }  # fmt: skip


@router.get("/trimmers/{trimmer}")
def trimmer_history(
    session: Bench,
    trimmer: str,
    deck: Deck = None,
    speed_ips: Speed = None,
    newest: Newest = 300,
    tolerance: Tolerance = None,
) -> dict[str, Any]:
    """One trimmer of all tracks over time: readings, moves, rates and forecasts."""
    watched = watch(session.book, deck, speed_ips, newest, trimmer)
    trail = watched.trails.get(trimmer)
    if trail is None:
        raise HTTPException(404, f"nothing was read of {trimmer!r} on this deck")
    drift = levelled(trail, watched.labels(trimmer))
    life = newest_life_of(drift)
    common = common_rate_of(life)
    band = band_of(trimmer, watched.bands) if tolerance is None else tolerance
    return {
        "deck": deck, "trimmer": trimmer, "unit": trail.unit, "tolerance": band,
        "line_ups": list(trail.lineups), "at": list(trail.at),
        "counted_from": trail.at[0] if life is drift else begin_of(life),
        "together": _together(drift, common),
        "tracks": _tracks(trail, drift, life, common, band),
    }  # fmt: skip


@router.get("/suggestions")
def suggestions(
    session: Bench, deck: Deck = None, speed_ips: Speed = None, newest: Newest = 60
) -> dict[str, Any]:
    """What stands out on a deck, in words with the evidence, newest first."""
    watched = watch(session.book, deck, speed_ips, newest)
    labels = {name: watched.labels(name) for name in watched.trails}
    found = findings_of(watched.trails, _notes(session.book, deck), watched.bands, labels)
    told = []
    for finding in found:
        said = suggestion_of(finding)
        told.append({
            "what": finding.what.value, "words": said.words, "evidence": list(said.evidence),
            "cautions": list(said.cautions), "trimmers": list(finding.trimmers),
            "tracks": list(finding.tracks), "since": finding.since, "until": finding.until,
            "amount": _number(finding.amount), "error": _number(finding.error),
            "unit": finding.unit, "per_year": finding.per_year,
        })  # fmt: skip
    return {"deck": deck, "line_ups": len(watched.visits), "suggestions": told}


@router.get("/batches")
def batches(
    session: Bench, deck: Deck = None, speed_ips: Speed = None, newest: Newest = 60
) -> dict[str, Any]:
    """Batches of stock side by side, as this deck's record side sees them."""
    return _beside(session.book, deck, speed_ips, newest, "batch")


@router.get("/tapes")
def tapes(
    session: Bench, deck: Deck = None, speed_ips: Speed = None, newest: Newest = 60
) -> dict[str, Any]:
    """Calibration tapes against each other, as this deck's heads read them."""
    return _beside(session.book, deck, speed_ips, newest, "tape")


def _beside(
    book: Records, deck: str | None, speed_ips: float | None, newest: int, kind: str
) -> dict[str, Any]:
    watched = watch(book, deck, speed_ips, newest, read_by=kind)
    named = {t.id: t.facts["name"] for t in book.things(f"{'batche' if kind == 'batch' else kind}s",
                                                        retired=True)}  # fmt: skip
    return {
        "deck": deck,
        "trimmers": [
            {"trimmer": name, "unit": trail.unit, kind + ("es" if kind == "batch" else "s"): [
                {"id": one.label, "name": named.get(one.label), "reads": one.reads,
                 "error": one.error, "changes": one.changes}
                for one in side_by_side(trail, watched.labels(name))
            ]}
            for name, trail in watched.trails.items()
        ],
    }  # fmt: skip


def _together(drift: Drift, rate: Rates) -> dict[str, Any]:
    low, high = rate.interval_per_day()
    return {
        "at": [drift.at(i) for i in range(len(drift.days))],
        "days": _list(drift.days),
        "move": _list(drift.together),
        "error": _list(drift.together_error),
        "sudden": [bool(j) for j in drift.jumped_together],
        "of_a_day": rate.of_a_day,
        **_rate(rate.per_day[0], rate.error_per_day[0], low[0], high[0]),
    }


def _tracks(
    trail: Trail, drift: Drift, life: Drift, common: Rates, band: float
) -> list[dict[str, Any]]:
    """Moves of all that was watched; rates and forecasts of the newest life of the head."""
    own = own_rates_of(life)
    rates = rates_of(life, own, common)
    low, high = rates.interval_per_day()
    forecasts = forecasts_of(life, band, rates)
    return [
        {
            "track": t + 1,
            "found": _list(trail.found[:, t]), "found_error": _list(trail.found_error[:, t]),
            "left": _list(trail.left[:, t]), "left_error": _list(trail.left_error[:, t]),
            "move": _list(drift.move[:, t]), "move_error": _list(drift.error[:, t]),
            "alone": _list(drift.own[:, t]), "sudden": [bool(j) for j in drift.jumped_alone[:, t]],
            **_rate(rates.per_day[t], rates.error_per_day[t], low[t], high[t]),
            "alone_per_year": _number(DAYS_PER_YEAR * own.per_day[t]),
            "alone_error_per_year": _number(DAYS_PER_YEAR * own.error_per_day[t]),
            "forecast": _forecast(trail, forecasts[t]),
        }
        for t in range(trail.tracks)
    ]  # fmt: skip


def _rate(rate: float, error: float, low: float, high: float) -> dict[str, Any]:
    return {
        "per_year": _number(DAYS_PER_YEAR * rate),
        "error_per_year": _number(DAYS_PER_YEAR * error),
        "low_per_year": _number(DAYS_PER_YEAR * low),
        "high_per_year": _number(DAYS_PER_YEAR * high),
    }


def _forecast(trail: Trail, told: Forecast) -> dict[str, Any]:
    begin = np.datetime64(trail.at[-1].removesuffix("Z"), "D")

    def date(days: float | None) -> str | None:
        return None if days is None else str(begin + np.timedelta64(int(days), "D"))

    return {
        "outlook": told.outlook.value, "coverage": told.coverage,
        "looked_ahead_until": date(told.ahead_days), "earliest": date(told.earliest_days),
        "likely": date(told.likely_days), "latest": date(told.latest_days),
    }  # fmt: skip


def _notes(book: Records, deck: str | None) -> list[Note]:
    told = [n.facts for n in book.things("notes") if n.facts["deck"] == deck]
    return [Note(str(f["on"]), str(f["kind"]), str(f["name"])) for f in told]


def _bands(book: Records, deck: str | None) -> dict[str, float]:
    """What is accepted of the azimuth of this deck; the rest is usual."""
    known = next((d.known for d in book.things("decks", retired=True) if d.id == deck), {})
    try:
        accept = azimuth_tolerance(float(known["tape_width_mm"])).accept_arcmin
    except (KeyError, TypeError, MisuseError):
        return {}
    return {"reproduce_azimuth": accept, "record_azimuth": accept}


def _list(values: NDArray[np.float64]) -> list[float | None]:
    finite = np.isfinite(values)
    told: list[float | None] = np.round(values, 5).tolist()
    return told if finite.all() else [v if f else None for v, f in zip(told, finite, strict=True)]


def _number(value: float) -> float | None:
    return round(float(value), 5) if np.isfinite(value) else None
