"""What is told of a reel on its box, its spine and its track sheet; None is left to be written."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Field, StringConstraints, TypeAdapter, ValidationError

from fluxbench.base import MisuseError
from fluxbench.sheets._words import one_line

MOST_TRACKS = 24
WIDTHS_IN: Mapping[int, float] = {2: 0.25, 4: 0.5, 8: 1.0, MOST_TRACKS: 2.0}
"""Tape of the usual width for so many tracks and fewer. Common practice, no source."""

Text = Annotated[str, StringConstraints(max_length=10_000)] | None
Positive = Annotated[float, Field(gt=0.0, lt=1e5, allow_inf_nan=False)] | None
Wound = Literal["tails out", "heads out"]


@dataclass(frozen=True, slots=True)
class Card:
    """A reel as its papers tell it."""

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", str_strip_whitespace=True)

    title: Text = None
    artist: Text = None
    client: Text = None
    date: Text = None
    reel: Text = None
    """Which of how many, as in 2 of 5."""
    reel_diameter_in: Literal[7, 10.5] = 10.5
    tape_width_in: Literal[0.25, 0.5, 1, 2] | None = None
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

    @property
    def width_in(self) -> float:
        """Of the tape, as told or as usual for the tracks."""
        if self.tape_width_in is not None:
            return self.tape_width_in
        return next(width for most, width in WIDTHS_IN.items() if self.tracks <= most)


_CARD = TypeAdapter(Card)


def facts_of(card: Card) -> dict[str, Any]:
    """What is told on a card, by name, to be told otherwise in part."""
    return {name: value for name, value in asdict(card).items() if value is not None}


def card_of(facts: Mapping[str, Any]) -> Card:
    """A card from plain values; MisuseError for names that a card has not and values that cannot be.

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
