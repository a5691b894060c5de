"""What a procedure has made, as the book keeps it: printed reels, working copies."""

from collections.abc import Mapping
from typing import Any

from fluxbench.book import LineUpRow, Writing
from fluxbench.lineup import copied_sections


def things_made(row: LineUpRow, what: str, facts: Mapping[str, Any], at: str) -> list[Writing]:
    """Additions to the book, and edits, that an entry of the journal at a time is the reason of."""
    if what == "printed":
        return _printed_on(row, facts, at)
    if what == "working copy":
        return _copied(row, facts, at)
    return []


def _printed_on(row: LineUpRow, facts: Mapping[str, Any], at: str) -> list[Writing]:
    """A version of the reel that tones were printed on, if it was named, which tells of them."""
    reel = (row.plan.get("book") or {}).get("printed_on")
    if reel is None:
        return []
    told = ("frequency_hz", "level_db", "seconds")
    tones = [{name: tone[name] for name in told} for tone in facts["tones"]]
    stock = row.plan["stock"]
    changes = {
        "tones": tones,
        "lineup": row.id,
        "speed_ips": stock["speed_ips"],
        **stock["equalisation"],
        "operating_fluxivity_nwb_per_m": stock["operating_fluxivity_nwb_per_m"],
    }
    why = "line-up tones were printed on it"
    return [Writing(f"{row.id}-tones", "reels", reel["id"], changes, at, why=why)]


def _copied(row: LineUpRow, facts: Mapping[str, Any], at: str) -> list[Writing]:
    """The working copy as a calibration tape of its own, in this deck's equalisation."""
    known = row.plan.get("book") or {}
    original, deck = known["tape"], known.get("deck")
    stock, sheet = row.plan["stock"], row.plan["calibration"]["data_sheet"]
    made = {
        "name": row.plan["copy_name"],
        "speed_ips": stock["speed_ips"],
        "fluxivity_nwb_per_m": sheet["fluxivity_nwb_per_m"],
        **stock["equalisation"],
        "sections": copied_sections(facts),
        "reference_frequency_hz": sheet["reference_frequency_hz"],
        "width": "tracks",
        "fringing_compensated": "no",
        "format": None if deck is None else deck["facts"]["format"],
        "level_uncertainty_db": original["facts"]["level_uncertainty_db"],
        "working_copy_of": original["id"],
        "made_on": None if deck is None else deck["id"],
        "bought": at[:10],
        "remark": f"Played again at once it read within {facts['again_db']:.2f} dB.",
    }
    why = "a working copy was made"
    return [Writing(f"{row.id}-copy", "tapes", None, made, at, why=why)]
