"""What a line-up saw of the deck and both tapes that no trimmer sets."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fluxbench.book import Entry
from fluxbench.lineup import Plan
from fluxbench.sheets._words import NOT_READ, plain, signed

Facts = Mapping[str, Any]


def conditions_of(plan: Plan, entries: Sequence[Entry]) -> tuple[tuple[str, str], ...]:
    """Name and reading of each, in the order of a sheet; the newest counts."""
    newest: dict[str, Facts] = {}
    for entry in entries:
        which = entry.facts.get("tape", entry.facts.get("head", ""))
        newest[f"{entry.what} {which}".strip()] = entry.facts
    rows = [(name, _told(newest.get(key), tell, plan)) for name, key, tell in _ROWS]
    return tuple(rows)


def _told(facts: Facts | None, tell: Callable[[Facts, Plan], str], plan: Plan) -> str:
    return NOT_READ if facts is None else tell(facts, plan)


def _speed(facts: Facts, plan: Plan) -> str:
    limit = plan.tolerances.speed_percent
    off = facts["percent"]
    if off is None:
        return NOT_READ
    return f"{signed(off)} %" + ("" if abs(off) <= limit else f", beyond {limit:g} %")


def _greatest(name: str, unit: str, decimals: int = 0) -> Callable[[Facts, Plan], str]:
    def tell(facts: Facts, _plan: Plan) -> str:
        row = facts[name]
        known = [(value, track + 1) for track, value in enumerate(row) if value is not None]
        if not known:
            return NOT_READ
        value, track = max(known)
        return f"{plain(value, decimals)} {unit} re 0 VU, track {track}"

    return tell


def _contact(facts: Facts, _plan: Plan) -> str:
    spacing_um = facts["spacing_um"]
    return NOT_READ if spacing_um is None else f"by {plain(spacing_um, 3)} µm, reproduce head"


def _dropouts(facts: Facts, _plan: Plan) -> str:
    rates, minutes = facts["per_min"], facts["minutes"]
    known = [(value, track + 1) for track, value in enumerate(rates) if value is not None]
    if not known or not minutes:
        return NOT_READ
    worst, track = max(known, key=lambda entry: (entry[0], -entry[1]))
    mean = sum(value for value, _ in known) / len(known)
    most = f", {worst:.1f} on track {track}" if worst else ""
    return f"{mean:.1f} a minute in the mean{most}; {minutes:.1f} min heard"


_ROWS: tuple[tuple[str, str, Callable[[Facts, Plan], str]], ...] = (
    ("Safe, on scrap tape", "safe", lambda f, _: "proved" if f["proved"] else "not proved"),
    ("Speed off by", "speed", _speed),
    ("Most hum", "hum", _greatest("level_db", "dB")),
    ("Erased, 1 kHz left", "erasure", _greatest("left_db", "dB")),
    ("Contact wavers", "contact reproduce", _contact),
    ("Drop-outs, calibration", "drop-outs calibration tape", _dropouts),
    ("Drop-outs, stock", "drop-outs stock", _dropouts),
)
