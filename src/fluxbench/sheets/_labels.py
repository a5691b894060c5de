"""Box label, spine and track sheet of a reel as PDF/A files."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from fluxbench.sheets._card import Card
from fluxbench.sheets._plan_told import speed_words
from fluxbench.sheets._press import paper_named, safe_name, typeset
from fluxbench.sheets._record import record_of
from fluxbench.sheets._words import one_line

LABELS_MM: Mapping[float, tuple[float, float]] = {10.5: (250.0, 162.0), 7.0: (170.0, 118.0)}
"""Label of a reel's box, which is ¼ inch wider than the reel, by its diameter in inches."""
SPINES_MM: Mapping[float, float] = {0.25: 14.0, 0.5: 20.0, 1.0: 33.0, 2.0: 58.0}
"""Label of a reel's box, itself ¼ inch wider than the reel, by its diameter in inches."""

INCHES: Mapping[float, str] = {0.25: "¼-inch", 0.5: "½-inch", 1.0: "1-inch", 2.0: "2-inch"}
LONGEST_TITLE, LONGEST_NAME, LONGEST_TEXT = 80, 44, 180


def label_pdf(card: Card, version: str, paper: str = "a4", address: str = "") -> bytes:
    """Box label and spine of a reel at their size, with crop marks; same arguments, same bytes.

    MisuseError for an unknown paper, or an address that is none of the local network.
    """
    return _set("label.typ", card, version, paper, address)


def track_sheet_pdf(card: Card, version: str, paper: str = "a4", address: str = "") -> bytes:
    """A track sheet of one page, with lines to write on; errors as for the label."""
    return _set("tracks.typ", card, version, paper, address)


def label_file_name(card: Card, what: str) -> str:
    """A name that is safe on every system: what it is, and of which reel."""
    reel = safe_name(card.title or card.record or "")
    return f"{what}-{reel}.pdf" if reel else f"{what}.pdf"


def _set(page: str, card: Card, version: str, paper: str, address: str) -> bytes:
    size = paper_named(paper)
    path = "book/reels/{}/label" if card.recorded_as == "reel" else "lineups/{}/sheet"
    record = record_of(card.record, address, path) if card.record else ""
    values = {**card_told(card), "paper": size, "record": record, "version": version}
    return typeset(("common.typ", "card.typ", page), values, record, _stamp(card))


def card_told(card: Card) -> dict[str, Any]:
    """What the page templates are given: texts of one line, "" where something is to be written."""
    width_mm, height_mm = LABELS_MM[card.reel_diameter_in]
    names = [_line(name, LONGEST_NAME) for name in card.track_names]
    return {
        "title": _line(card.title, LONGEST_TITLE),
        "artist": _line(card.artist, LONGEST_NAME),
        "client": _line(card.client, LONGEST_NAME),
        "date": _line(card.date, 24),
        "reel": _line(card.reel, 24),
        "facts": _facts(card),
        "tones": _line(card.tones, LONGEST_TEXT),
        "remark": _line(card.remark, LONGEST_TEXT),
        "wound": card.wound or "",
        "tracks": card.tracks,
        "names": names + [""] * (card.tracks - len(names)),
        "id": _line(card.record, LONGEST_NAME),
        "label": [width_mm, height_mm],
        "spine": SPINES_MM[card.width_in],
    }


def _facts(card: Card) -> list[tuple[str, str]]:
    flux = card.operating_fluxivity_nwb_per_m
    tracks = f"{card.tracks} track{'s' * (card.tracks > 1)}"
    return [
        ("Speed", "" if card.speed_ips is None else speed_words(card.speed_ips)),
        ("Equalisation", _line(card.equalisation, LONGEST_NAME)),
        ("Operating level", "" if flux is None else f"0 VU = {flux:g} nWb/m"),
        ("Noise reduction", _line(card.noise_reduction, LONGEST_NAME)),
        ("Tape", f"{INCHES[card.width_in]}, {tracks}"),
        ("Stock", _line(card.stock, LONGEST_NAME)),
        ("Batch", _line(card.batch, LONGEST_NAME)),
        ("Lined up", _line(card.lined_up, LONGEST_NAME)),
    ]


def _stamp(card: Card) -> int:
    """The file's date, which PDF/A must have: the reel's, or the beginning of 1970 without one."""
    try:
        day = datetime.fromisoformat((card.date or "")[:10]).replace(tzinfo=UTC)
    except ValueError:
        return 0
    return max(0, int(day.timestamp()))


def _line(text: str | None, longest: int) -> str:
    return "" if text is None else one_line(text, longest)
