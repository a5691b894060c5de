"""The kinds of things that a book knows, and how their facts are checked.

A new kind is a frozen dataclass with a line in `KINDS`. Facts that were told stand in its fields;
`assumed()`, where a kind has it, says what stands for the others.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

from pydantic import TypeAdapter, ValidationError

from fluxbench.base import MisuseError
from fluxbench.book._kinds._cards import Card, Mark, Picture
from fluxbench.book._kinds._deck import Deck, Head, RotatingPart, ServiceNote, SpeedOfDeck, Trimmer
from fluxbench.book._kinds._rest import (
    Calibration,
    Capture,
    ChannelCalibration,
    ExerciseDone,
    Interface,
    PrintedTone,
    Reel,
)
from fluxbench.book._kinds._tapes import (
    Batch,
    CalibrationTape,
    OverBias,
    Stock,
    TapeCheck,
    TapeSection,
)

__all__ = [
    "KINDS", "Batch", "Calibration", "CalibrationTape", "Capture", "Card", "ChannelCalibration",
    "Deck", "ExerciseDone", "Facts", "Head", "Interface", "Kind", "Mark", "OverBias", "Picture",
    "PrintedTone", "Reel",
    "RotatingPart", "ServiceNote", "SpeedOfDeck", "Stock", "TapeCheck", "TapeSection", "Trimmer",
    "assumed_of",
    "checked", "kind_named", "schema_of", "thing_of",
]  # fmt: skip

Facts = Mapping[str, Any]


class Named(Protocol):
    """What all facts have."""

    @property
    def name(self) -> str:
        """What people call it."""
        ...


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of thing: its name in calls and files, the word for one, and its facts."""

    name: str
    one: str
    facts: type[Named]
    belongs: Mapping[str, str]
    """The kind that each field with an id means."""


KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("decks", "deck", Deck, {}),
        Kind("heads", "head", Head, {"deck": "decks"}),
        Kind("stocks", "stock", Stock, {}),
        Kind("batches", "batch", Batch, {"stock": "stocks"}),
        Kind("tapes", "calibration tape", CalibrationTape,
             {"working_copy_of": "tapes", "made_on": "decks"}),
        Kind("interfaces", "interface", Interface, {}),
        Kind("calibrations", "calibration", Calibration, {"interface": "interfaces"}),
        Kind("notes", "service note", ServiceNote, {"deck": "decks", "head": "heads"}),
        Kind("reels", "reel", Reel, {"deck": "decks", "stock": "stocks", "batch": "batches"}),
        Kind("captures", "capture", Capture, {"reel": "reels", "deck": "decks"}),
        Kind("exercises", "exercise", ExerciseDone, {}),
        Kind("pictures", "picture", Picture, {}),
        Kind("cards", "card", Card, {"deck": "decks", "picture": "pictures"}),
    )
}  # fmt: skip


def kind_named(name: str) -> Kind:
    """The kind of a name; `MisuseError` lists the names there are."""
    if name not in KINDS:
        raise MisuseError(f"no kind is called {name!r}; there are {', '.join(KINDS)}")
    return KINDS[name]


@cache
def _adapter(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(KINDS[kind].facts)


def thing_of(kind: str, facts: Facts) -> Any:
    """The facts of a kind as its dataclass; `MisuseError` names the first field that is wrong."""
    one = kind_named(kind).one
    try:
        text = json.dumps(dict(facts), allow_nan=False)
        return _adapter(kind).validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or one
        said = first["msg"].removeprefix("Value error, ")
        raise MisuseError(f"{where}: {said}") from None
    except (TypeError, ValueError, RecursionError):
        raise MisuseError(f"the facts of a {one} are JSON with finite numbers") from None


def checked(kind: str, facts: Facts) -> dict[str, Any]:
    """The facts in full, None where nothing is told; `MisuseError` if they cannot be."""
    thing = thing_of(kind, facts)
    told: dict[str, Any] = _adapter(kind).dump_python(thing, mode="json")
    return told


def assumed_of(kind: str, facts: Facts) -> dict[str, Any]:
    """What is assumed for facts that are not told, until somebody confirms or changes it."""
    if not hasattr(kind_named(kind).facts, "assumed"):
        return {}
    return dict(thing_of(kind, facts).assumed())


def schema_of(kind: str) -> dict[str, Any]:
    """The facts of a kind as JSON Schema."""
    return _adapter(kind_named(kind).name).json_schema()
