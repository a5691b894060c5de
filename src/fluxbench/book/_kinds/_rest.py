"""Interfaces and their calibration, reels, captures, exercises."""

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Field, StringConstraints

from fluxbench.base import MisuseError
from fluxbench.book._kinds._words import (
    CONFIG,
    Date,
    Fluxivity,
    FormatName,
    Frequency,
    Id,
    Level,
    Name,
    NotNegative,
    Positive,
    Speed,
    Text,
    Track,
)


@dataclass(frozen=True, slots=True)
class Interface:
    """A sound interface, known by its name and the host API that shows it, never by an index."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    host_api: Name
    inputs: Track | None = None
    outputs: Track | None = None
    remark: Text | None = None


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """What full scale of one channel is in dBu."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    channel: Track
    side: Literal["in", "out"]
    full_scale_dbu: Level


@dataclass(frozen=True, slots=True)
class Calibration:
    """dBFS against dBu of an interface's channels; of each channel the newest counts."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    interface: Id
    on: Date
    channels: tuple[ChannelCalibration, ...]
    uncertainty_db: NotNegative
    how: Text
    """The meter, the tone, who vouches for them."""

    def __post_init__(self) -> None:
        keys = [(c.channel, c.side) for c in self.channels]
        if not keys:
            raise MisuseError("channels: a calibration has at least one")
        if len(set(keys)) < len(keys):
            raise MisuseError("channels: one stands there twice")


@dataclass(frozen=True, slots=True)
class PrintedTone:
    """A line-up tone on a reel."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    frequency_hz: Frequency
    level_db: Level
    """Re operating level."""
    seconds: Positive | None = None


@dataclass(frozen=True, slots=True)
class Reel:
    """A reel with what its label tells."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    title: Name | None = None
    artist: Name | None = None
    client: Name | None = None
    number: Name | None = None
    """Which of how many, as in 2 of 5."""
    recorded: Date | None = None
    deck: Id | None = None
    stock: Id | None = None
    batch: Id | None = None
    format: FormatName | None = None
    speed_ips: Speed | None = None
    t1_us: Positive | None = None
    t2_us: Positive | None = None
    operating_fluxivity_nwb_per_m: Fluxivity | None = None
    noise_reduction: Name | None = None
    tails_out: bool | None = None
    tones: tuple[PrintedTone, ...] = ()
    track_names: tuple[Annotated[str, StringConstraints(max_length=80)], ...] = ()
    """What is on each track, track 1 first."""
    lineup: Id | None = None
    """The line-up that it was recorded after."""
    from_elsewhere: bool = False
    remark: Text | None = None


@dataclass(frozen=True, slots=True)
class Capture:
    """A sound file of a reel or of a measurement."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    """Of the file, without its folder."""
    reel: Id | None = None
    deck: Id | None = None
    lineup: Id | None = None
    made: Date | None = None
    sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")] | None = None
    rate_hz: Annotated[int, Field(gt=0, le=1_000_000)] | None = None
    channels: Track | None = None
    seconds: NotNegative | None = None
    path: Annotated[str, StringConstraints(min_length=1, max_length=4096)] | None = None
    """Where it lies on the computer of the bench."""
    measured_at: Date | None = None
    verdict: Literal["good", "no tones", "look", "repair", "repeat", "set aside"] | None = None
    """What to do with it, as a catalogue says."""
    remedy: Annotated[str, StringConstraints(max_length=20_000)] | None = None
    measured: dict[str, Any] | None = None
    """What was found in it when it was measured last, after the schema of a catalogue's lines."""
    remark: Text | None = None


@dataclass(frozen=True, slots=True)
class ExerciseDone:
    """An exercise on the practice deck that was handed in, and what the judge said."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    """Its title."""
    exercise: Name
    """Its name, as the practice deck calls it."""
    seed: Annotated[int, Field(ge=0, le=999_999)]
    """The same seed hides the same."""
    grade: Annotated[int, Field(ge=1, le=5)]
    """1 easy to 5 hard."""
    on: Date
    passed: bool
    marks: Annotated[int, Field(ge=0, le=1000)]
    out_of: Annotated[int, Field(ge=0, le=1000)]
    tape_s: NotNegative
    """How much tape went by."""
    learner: Name | None = None
    verdict: dict[str, Any] | None = None
    """All that the judge said."""
