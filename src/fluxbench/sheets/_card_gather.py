"""A reel's card from the book: of a reel that it knows, or as a line-up left the deck."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.book import Records
from fluxbench.sheets._card import Card, Wound, card_of
from fluxbench.sheets._contents import Contents
from fluxbench.sheets._plan_told import equalisation_words
from fluxbench.sheets._words import one_line, plain
from fluxbench.trade import Equalisation, format_named, pitch

WIDTHS_MM: Mapping[float, float] = {6.3: 0.25, 12.6: 0.5, 25.3: 1.0, 50.7: 2.0}
"""Tape as its standards give it in mm, and what it is called in inches."""

WOUND: Mapping[bool | None, Wound | None] = {True: "tails out", False: "heads out", None: None}


def card_of_lineup(contents: Contents) -> Card:
    """The card of a reel that is recorded on a deck as a line-up left it."""
    plan = contents.plan
    facts: dict[str, Any] = {
        "tracks": plan.tracks,
        "tape_width_in": WIDTHS_MM.get(plan.tape_width_mm),
        "speed_ips": plan.speed_ips,
        "equalisation": equalisation_words(plan.equalisation, plan.speed_ips),
        "operating_fluxivity_nwb_per_m": plan.operating_nwb_per_m,
        "stock": contents.stock_name or None,
        "batch": contents.stock.get("batch"),
        "lined_up": f"{contents.begun_at[:10]} {contents.deck_name}".strip(),
        "tones": contents.tones or None,
        "record": contents.lineup,
        "recorded_as": "line-up",
    }
    if facts["batch"] is not None:
        facts["batch"] = one_line(facts["batch"], 60)
    return card_of(facts)


def card_of_reel(book: Records, reel: str) -> Card:
    """The card of a reel in the book, by its id; MisuseError if there is none."""
    found = {version.id: version for version in book.things("reels", retired=True)}
    if reel not in found:
        raise MisuseError(f"the book holds no reel {one_line(reel, 80)!r}")
    told = found[reel].facts
    names = {
        one: _name(book, many, told.get(one))
        for one, many in {"deck": "decks", "stock": "stocks", "batch": "batches"}.items()
    }
    known = None if told.get("format") is None else format_named(told["format"])
    labels = list(told.get("track_names") or ())
    facts: dict[str, Any] = {
        "title": told.get("title") or told["name"],
        "artist": told.get("artist"),
        "client": told.get("client"),
        "reel": told.get("number") or (told["name"] if told.get("title") else None),
        "date": told.get("recorded"),
        "tape_width_in": None if known is None else WIDTHS_MM.get(known.tape_width_mm),
        "tracks": max(len(labels), 2) if known is None else max(known.tracks, len(labels)),
        "track_names": labels,
        "speed_ips": told.get("speed_ips"),
        "equalisation": _equalisation(told),
        "operating_fluxivity_nwb_per_m": told.get("operating_fluxivity_nwb_per_m"),
        "noise_reduction": told.get("noise_reduction"),
        "stock": names.get("stock"),
        "batch": names.get("batch"),
        "lined_up": _lined_up(book, told, names.get("deck")),
        "tones": ", ".join(map(_tone, told.get("tones") or ())) or None,
        "remark": told.get("remark"),
        "record": reel,
    }
    return replace(card_of(facts), wound=WOUND[told.get("tails_out")])


def _lined_up(book: Records, told: Mapping[str, Any], deck: str | None) -> str | None:
    """Day and deck of the line-up that a reel was recorded after; tones alone are none."""
    of = told.get("lineup")
    run = next((row for row in book.lineups() if row.id == of), None)
    if run is None or run.kind != "line-up":
        return deck
    named = deck or _name(book, "decks", run.deck) or ""
    return f"{run.begun_at[:10]} {named}".strip()


def _name(book: Records, kind: str, thing: str | None) -> str | None:
    versions = () if thing is None else book.versions(kind, thing)
    return one_line(versions[-1].facts["name"], 60) if versions else None


def _equalisation(told: Mapping[str, Any]) -> str | None:
    if told.get("t2_us") is None or told.get("speed_ips") is None:
        return None
    return equalisation_words(Equalisation(told.get("t1_us"), told["t2_us"]), told["speed_ips"])


def _tone(tone: Mapping[str, Any]) -> str:
    lasts = tone.get("seconds")
    said = f"{pitch(tone['frequency_hz'])} {plain(tone['level_db'], 0)} dB"
    return said if lasts is None else f"{said} {lasts:g} s"
