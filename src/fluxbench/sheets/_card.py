"""What is told of a reel on its box, its spine and its track sheet; None is left to be written."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    StringConstraints,
    TypeAdapter,
    ValidationError,
)

from fluxbench.base import MisuseError
from fluxbench.sheets._words import one_line

MOST_TRACKS = 24
WIDTHS_IN: Mapping[int, float] = {2: 0.25, 4: 0.5, 8: 1.0, MOST_TRACKS: 2.0}
"""Tape of the usual width for so many tracks and fewer. Common practice, no source."""


def _one_of(*values: float) -> Callable[[float], float]:
    def known(value: float) -> float:
        if value not in values:
            raise ValueError(f"give one of {', '.join(f'{v:g}' for v in values)}")
        return value

    return known


Text = Annotated[str, StringConstraints(max_length=10_000)] | None
Positive = Annotated[float, Field(gt=0.0, lt=1e5, allow_inf_nan=False)] | None
Diameter = Annotated[float, AfterValidator(_one_of(7.0, 10.5))]
Width = Annotated[float, AfterValidator(_one_of(*WIDTHS_IN.values()))]
Wound = Literal["tails out", "heads out"]


@dataclass(frozen=True, slots=True)
class Card:
    """A reel as its papers tell it."""

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(
        extra="forbid", str_strip_whitespace=True
    )

    title: Text = None
    artist: Text = None
    client: Text = None
    date: Text = None
    reel: Text = None
    """Which of how many, as in 2 of 5."""
    reel_diameter_in: Diameter = 10.5
    tape_width_in: Width | None = None
    """None is the usual width for the tracks."""
    tracks: Annotated[int, Field(ge=1, le=MOST_TRACKS)] = 2
    track_names: tuple[Annotated[str, StringConstraints(max_length=10_000)], ...] = ()
    speed_ips: Positive = None
    equalisation: Text = None
    operating_fluxivity_nwb_per_m: Positive = None
    noise_reduction: Text = None
    stock: Text = None
    batch: Text = None
    lined_up: Text = None
    """On which deck and when."""
    tones: Text = None
    wound: Wound | None = "tails out"
    """None is told nowhere, and left to be ticked."""
    remark: Text = None
    record: Text = None
    """The name by which the book knows it."""
    recorded_as: Literal["reel", "line-up"] = "reel"

    @property
    def width_in(self) -> float:
        """Of the tape, as told or as usual for the tracks."""
        if self.tape_width_in is not None:
            return self.tape_width_in
        return next(width for most, width in WIDTHS_IN.items() if self.tracks <= most)


_CARD = TypeAdapter(Card)


def told_otherwise(card: Card, facts: Mapping[str, Any]) -> Card:
    """A card of which some facts are told otherwise, with tracks for all names; as `card_of`."""
    known = {name: value for name, value in asdict(card).items() if value is not None}
    given = {name: value for name, value in facts.items() if value is not None}
    names = given.get("track_names")
    if isinstance(names, (list, tuple)) and "tracks" not in given:
        given["tracks"] = max(card.tracks, len(names))
    made = card_of({**known, **given})
    return made if card.wound or "wound" in given else replace(made, wound=None)


def card_of(facts: Mapping[str, Any]) -> Card:
    """A card from plain values; MisuseError for names that no card has and impossible values.

    Without a number of tracks there are as many as names, and two at least.
    """
    told = {name: value for name, value in facts.items() if value is not None}
    names = told.get("track_names")
    if "tracks" not in told and isinstance(names, (list, tuple)):
        told["tracks"] = max(2, len(names))
    try:
        card = _CARD.validate_python(told)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise MisuseError(
            f"a reel's {one_line(where, 60)} cannot be so: {one_line(first['msg'], 120)}"
        ) from None
    if len(card.track_names) > card.tracks:
        raise MisuseError(
            f"{len(card.track_names)} names of tracks for {card.tracks} tracks; leave some out"
        )
    return card
