"""What was found in a capture as the facts that the book keeps of it: composed here alone."""

import os
from collections.abc import Mapping
from typing import Any

from fluxbench.captures.catalogue._row import shown

LONGEST_NAME, LONGEST_REMEDY = 80, 20_000
_FIGURES = 7


def name_of(path: str) -> str:
    """What a capture is called until somebody calls it otherwise: its file, without its folder."""
    return shown(os.path.basename(path))[-LONGEST_NAME:]


def facts_found(found: Mapping[str, Any], at: str) -> dict[str, Any]:
    """The facts after a measurement, of an object as `object_of` tells it; None: not known.

    `at` is when, UTC, ISO 8601.
    """
    capture = found["measured"]["capture"] if "measured" in found else {}
    return {
        "sha256": found["sha256"] or None,
        "verdict": found["verdict"],
        "remedy": found["remedy"][:LONGEST_REMEDY],
        "measured_at": f"{at[:16]}Z",
        "rate_hz": capture.get("sample_rate_hz"),
        "channels": capture.get("tracks"),
        "seconds": capture.get("duration_s"),
        "measured": rounded(found) if capture else None,
    }


def rounded(found: Any) -> Any:
    """The same with seven figures, which is more than any reading is worth."""
    if isinstance(found, float):
        return float(f"{found:.{_FIGURES}g}")
    if isinstance(found, Mapping):
        return {name: rounded(each) for name, each in found.items()}
    return [rounded(each) for each in found] if isinstance(found, list) else found
