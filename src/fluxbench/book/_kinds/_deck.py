"""A deck, its heads, and what was done to it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Field

from fluxbench.base import MisuseError
from fluxbench.book._kinds._words import (
    CONFIG,
    Count,
    Date,
    Fluxivity,
    FormatName,
    Id,
    Level,
    Name,
    NotNegative,
    Positive,
    Speed,
    Text,
    Track,
)
from fluxbench.lineup import PER_STACK, PER_TRACK
from fluxbench.trade import equalisation_named, format_named


@dataclass(frozen=True, slots=True)
class SpeedOfDeck:
    """A speed that the deck runs at, and its equalisation there."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    speed_ips: Speed
    t2_us: Positive
    """Time constant of the short waves."""
    t1_us: Positive | None = None
    """Time constant of the long waves; none where the standard has none."""


@dataclass(frozen=True, slots=True)
class RotatingPart:
    """What turns, and shows in the flutter: by its diameter, or by its turns at a speed."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    diameter_mm: Positive | None = None
    turns_per_s: Positive | None = None
    at_speed_ips: Speed | None = None
    """The tape speed that `turns_per_s` is for; none if it turns the same at all."""


@dataclass(frozen=True, slots=True)
class Trimmer:
    """A trimmer that the deck has."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    """As in line-ups: reproduce_level, reproduce_high, bias and so on, or one of its own."""
    per: Literal["track", "stack", "master"] = "track"
    speeds_ips: tuple[Speed, ...] | None = None
    """The speeds that it is for; none if it is for all."""
    kind: Literal["pot", "steps"] = "pot"
    step_db: Positive | None = None
    turns: Positive | None = None
    """From end to end."""
    sense: Literal["unknown", "clockwise raises", "clockwise lowers"] = "unknown"


@dataclass(frozen=True, slots=True)
class Deck:
    """A deck: five answers (name, format, speeds, equalisation, operating level) make it usable."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    format: FormatName
    speeds_ips: tuple[Speed, ...]
    equalisation: Annotated[Name, Field(examples=["IEC1", "IEC2", "NAB", "AES"])]
    """The standard's name, such as IEC1 or NAB: it gives the time constants at each speed."""
    operating_fluxivity_nwb_per_m: Annotated[
        Fluxivity, Field(examples=[185, 200, 250, 320, 355, 510])
    ]
    speeds: tuple[SpeedOfDeck, ...] | None = None
    """Time constants by speed, where the standard's name does not tell them."""
    maker: Name | None = None
    """In your own words."""
    serial: Name | None = None
    tracks: Track | None = None
    track_width_mm: Positive | None = None
    track_pitch_mm: NotNegative | None = None
    tape_width_mm: Positive | None = None
    first_track: Literal["top edge", "bottom edge"] | None = None
    """Which edge of the tape track 1 lies at."""
    head_spacing_mm: Positive | None = None
    """From record gap to reproduce gap."""
    erase_spacing_mm: Positive | None = None
    """From erase gap to record gap."""
    record_gap_um: Positive | None = None
    reproduce_gap_um: Positive | None = None
    zero_vu_dbu: Level | None = None
    trimmers: tuple[Trimmer, ...] | None = None
    rotating_parts: tuple[RotatingPart, ...] | None = None
    remark: Text | None = None

    def __post_init__(self) -> None:
        if not self.speeds_ips:
            raise MisuseError("speeds_ips: a deck has at least one speed")
        if len(set(self.speeds_ips)) < len(self.speeds_ips):
            raise MisuseError("speeds_ips: a speed stands there twice")
        told = {speed.speed_ips for speed in self.speeds or ()}
        for speed_ips in self.speeds_ips:
            if speed_ips not in told:
                _named(self.equalisation, speed_ips)
        names = [(t.name, speed) for t in self.trimmers or () for speed in t.speeds_ips or (0.0,)]
        if len(set(names)) < len(names):
            raise MisuseError("trimmers: one stands there twice")

    def assumed(self) -> dict[str, Any]:
        """What stands for each field that was not told, from the trade or common practice."""
        form = format_named(self.format)
        usual: dict[str, Any] = {
            "speeds": [self._speed(speed_ips) for speed_ips in self.speeds_ips],
            "tracks": form.tracks,
            "track_width_mm": form.track_width_mm,
            "track_pitch_mm": form.pitch_mm,
            "tape_width_mm": form.tape_width_mm,
            "first_track": "top edge",
            **_USUAL,
            "trimmers": _usual_trimmers(),
        }
        return {name: value for name, value in usual.items() if getattr(self, name) is None}

    def _speed(self, speed_ips: float) -> dict[str, Any]:
        named = _named(self.equalisation, speed_ips)
        return {"speed_ips": speed_ips, "t1_us": named.t1_us, "t2_us": named.t2_us}


_USUAL: Mapping[str, float] = {
    "head_spacing_mm": 45.0,
    "record_gap_um": 9.0,
    "reproduce_gap_um": 3.0,
    "zero_vu_dbu": 4.0,
}
"""Usual values, from memory except 0 VU = +4 dBu (common practice): to be confirmed."""


def _named(equalisation: str, speed_ips: float) -> Any:
    try:
        return equalisation_named(equalisation, speed_ips)
    except MisuseError as error:
        raise MisuseError(f"equalisation: {error}, or give its time constants in speeds") from None


def _usual_trimmers() -> list[dict[str, Any]]:
    per = [*((n, "track") for n in sorted(PER_TRACK)), *((n, "stack") for n in sorted(PER_STACK))]
    rest = {"speeds_ips": None, "kind": "pot", "step_db": None, "turns": None, "sense": "unknown"}
    return [{"name": name, "per": where, **rest} for name, where in per]


@dataclass(frozen=True, slots=True)
class Head:
    """A head of a deck; a relap or more hours are an edit, so that its life can be read."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    deck: Id
    function: Literal["erase", "record", "reproduce", "sync"]
    fitted: Date | None = None
    relapped: tuple[Date, ...] = ()
    retired: Date | None = None
    """When it was taken out of the deck."""
    hours: NotNegative | None = None
    """Hours of tape over it, as far as they are known."""
    gap_um: Positive | None = None
    maker: Name | None = None
    remark: Text | None = None


@dataclass(frozen=True, slots=True)
class ServiceNote:
    """Something that was done to a deck and that a reading may show."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    """In a few words."""
    deck: Id
    on: Date
    kind: Literal[
        "cleaned", "demagnetised", "relapped", "head changed", "card changed", "repaired",
        "adjusted", "moved", "other",
    ] = "other"  # fmt: skip
    tracks: tuple[Track, ...] = ()
    """Those that it touched; none means all, or that it has nothing to do with tracks."""
    trimmers: tuple[Name, ...] = ()
    head: Id | None = None
    hours: Count | None = None
    """Reading of the deck's own hour counter."""
    text: Text | None = None
