"""Tables that come bank by bank, put together: for whoever folds a journal."""

from collections.abc import Mapping, Sequence
from typing import Any

Row = Sequence[Any]


def with_bank(before: Row | None, now: Row, facts: Mapping[str, Any]) -> list[Any]:
    """A row (tracks,) after an entry of the journal: tracks outside its bank keep what they had."""
    bank = facts.get("bank")
    if bank is None or before is None:
        return list(now)
    return [
        n if track in bank else b for track, (b, n) in enumerate(zip(before, now, strict=True), 1)
    ]


def with_first(before: Row | None, now: Row, facts: Mapping[str, Any]) -> list[Any]:
    """The same for what is read as found: the first reading of a track stays."""
    bank = facts.get("bank") or ()
    if before is None:
        return list(now)
    both = enumerate(zip(before, now, strict=True), 1)
    return [new if old is None and track in bank else old for track, (old, new) in both]


def response_with_bank(
    frequencies_hz: Sequence[float], level_db: Sequence[Row], facts: Mapping[str, Any]
) -> dict[float, list[Any]]:
    """Rows by frequency (Hz) after an entry with a response, from those before (may be empty)."""
    before = dict(zip(frequencies_hz, level_db, strict=True))
    return {
        float(f): with_bank(before.get(float(f)), row, facts)
        for f, row in facts["level_db"].items()
    }
