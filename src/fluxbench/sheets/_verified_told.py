"""What a verification has read, as the cells of a table."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.sheets._contents import Verified, VerifiedRow
from fluxbench.sheets._words import NOT_READ, one_line, plain, signed

CHOICES: Mapping[str, str] = {
    "response": "Response",
    "noise": "Noise, A-weighted",
    "distortion": "Third harmonic",
    "crosstalk": "From its neighbours",
    "flutter": "Flutter both ways, 2σ",
    "maximum": "Output at 3 %",
    "erasure": "Left by erasing",
}

_FINE_PERCENT = 0.2
"""Limits below are told with a third place."""


def verified_told(verified: Verified | None, tracks: int) -> dict[str, Any] | None:
    """Heads, limits and one row of cells a track; None if nothing was verified."""
    if verified is None:
        return None
    columns = [
        (name, [row for row in verified.rows if row.of == of])
        for of, name in CHOICES.items()
        if any(row.of == of for row in verified.rows)
    ]
    return {
        "at": f"{verified.at[:10]}, {verified.at[11:16]} UTC",
        "words": verified.words,
        "heads": [name for name, _ in columns],
        "limits": [_limit(rows[0]) for _, rows in columns],
        "tracks": [[_cell(rows, track) for _, rows in columns] for track in range(tracks)],
    }


def _limit(row: VerifiedRow) -> str:
    if row.within:
        return f"within ±{row.limit:g} {row.unit}"
    if row.at_least:
        return f"at least {signed(row.limit, 1)} {row.unit}"
    places = 0 if row.unit != "%" else 1 if row.limit >= _FINE_PERCENT else 3
    return f"at most {plain(row.limit, places)} {row.unit}"


def _cell(rows: Sequence[VerifiedRow], track: int) -> dict[str, Any]:
    """What decides, of all rows of one choice, and whether it is out."""
    read = [row for row in rows if row.margin_db[track] is not None]
    if len(read) < len(rows):
        return {"text": NOT_READ, "out": False}
    worst = min(read, key=lambda row: row.margin_db[track] or 0.0)
    value, hidden = worst.value[track], worst.hidden_below[track]
    if value is None:
        text = f"under {plain(hidden, 2 if worst.unit == '%' else 0)}"
    elif worst.at_least:
        text = signed(value)
    elif worst.within:
        text = f"{signed(value)} at {one_line(worst.name, 12)}"
    else:
        fine = worst.limit < _FINE_PERCENT
        text = plain(value, 1 if worst.unit != "%" else 3 if fine else 2)
    return {"text": text, "out": (worst.margin_db[track] or 0.0) < 0.0}
