"""With what it was measured: interface and calibration tape, and what is known of them."""

from collections.abc import Mapping
from typing import Any

from fluxbench.sheets._contents import Contents
from fluxbench.sheets._words import one_line

NOT_RECORDED = "not recorded"
LONGEST_NAME = 60
LONGEST_DATE = 24


def instruments_told(contents: Contents) -> list[tuple[str, str]]:
    """What and how much, in the order of a sheet; "not recorded" where the plan does not say."""
    electrical, tape = contents.deck["electrical"], contents.calibration
    return [
        ("Interface", _text(electrical, "interface", LONGEST_NAME)),
        (
            "Levels calibrated",
            _checked(electrical, "calibrated_at", contents.uncertainty.interface_db),
        ),
        ("Calibration tape", contents.tape_name or NOT_RECORDED),
        ("Its level checked", _checked(tape, "checked_at", contents.uncertainty.tape_db)),
        ("Its uses", _count(tape, "uses")),
    ]


def _text(facts: Mapping[str, Any], name: str, longest: int) -> str:
    value = facts.get(name)
    said = "" if value is None else one_line(value, longest)
    return said or NOT_RECORDED


def _checked(facts: Mapping[str, Any], name: str, sd_db: float | None) -> str:
    when = _text(facts, name, LONGEST_DATE)
    return when if sd_db is None else f"{when}, ±{sd_db:.2f} dB"


def _count(facts: Mapping[str, Any], name: str) -> str:
    value = facts.get(name)
    return f"{value}" if isinstance(value, int) and 0 <= value < 1_000_000 else NOT_RECORDED
