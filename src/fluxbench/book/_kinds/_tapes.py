"""Stocks, their batches, and calibration tapes."""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import ConfigDict, Field

from fluxbench.base import MisuseError
from fluxbench.book._kinds._words import (
    CONFIG,
    Count,
    Date,
    Fluxivity,
    FormatName,
    Frequency,
    Id,
    Level,
    Name,
    NotNegative,
    Number,
    Positive,
    Speed,
    Text,
)


@dataclass(frozen=True, slots=True)
class OverBias:
    """One line of a stock's data sheet: the fall from the peak, and what it holds for."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    over_bias_db: Annotated[float, Field(ge=0.0, le=20.0, allow_inf_nan=False)]
    speed_ips: Speed | None = None
    over_bias_frequency_hz: Frequency | None = None
    over_bias_level_db: Level | None = None
    """Re operating level."""
    record_gap_um: Positive | None = None


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of tape with its data sheet; whatever the sheet does not tell stays out."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    maker: Name | None = None
    over_bias: tuple[OverBias, ...] = ()
    thickness_um: Positive | None = None
    coating_um: Positive | None = None
    maximum_output_db: Level | None = None
    """At 3 % third harmonic, re `reference_fluxivity_nwb_per_m`."""
    noise_db: Level | None = None
    """Re the same, weighted as the sheet's words say."""
    print_through_db: Level | None = None
    reference_fluxivity_nwb_per_m: Fluxivity | None = None
    remark: Text | None = None

    def __post_init__(self) -> None:
        keys = [(o.speed_ips, o.over_bias_frequency_hz, o.record_gap_um) for o in self.over_bias]
        if len(set(keys)) < len(keys):
            raise MisuseError("over_bias: two lines hold for the same speed, tone and gap")


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch of a stock; its own over-bias goes before the stock's."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    """What stands on the box."""
    stock: Id
    over_bias: tuple[OverBias, ...] = ()
    bought: Date | None = None
    reels: Count | None = None
    remark: Text | None = None


@dataclass(frozen=True, slots=True)
class TapeSection:
    """One tone of a calibration tape, in the order of the tape."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    frequency_hz: Frequency
    seconds: Positive
    level_db: Level = 0.0
    """Re the tape's fluxivity, nominal."""
    correction_db: Number = 0.0
    """From its correction sheet: how much more it has than nominal."""
    track_corrections_db: tuple[Number, ...] = ()
    """On each track so much more than that, of a tape that was recorded on tracks."""
    uncertainty_db: NotNegative | None = None
    start_s: NotNegative | None = None
    is_flutter: bool = False
    """Meant for speed and flutter."""


@dataclass(frozen=True, slots=True)
class TapeCheck:
    """A check of a calibration tape against another one, or at its maker's."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    on: Date
    words: Text
    against: Id | None = None


@dataclass(frozen=True, slots=True)
class CalibrationTape:
    """A calibration tape as its leaflet tells it; uses are counted by the line-ups that name it."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    speed_ips: Speed
    fluxivity_nwb_per_m: Fluxivity
    t2_us: Positive
    t1_us: Positive | None = None
    sections: tuple[TapeSection, ...] = ()
    reference_frequency_hz: Frequency = 1000.0
    width: Literal["full", "tracks"] = "full"
    """Recorded over the full width of the tape, or on tracks."""
    fringing_compensated: Literal["no", "for format", "unknown"] = "unknown"
    format: FormatName | None = None
    """The format that it is recorded or compensated for."""
    level_uncertainty_db: NotNegative | None = None
    azimuth_uncertainty_arcmin: NotNegative | None = None
    uses_before: Count = 0
    """Before the book knew it."""
    checks: tuple[TapeCheck, ...] = ()
    working_copy_of: Id | None = None
    made_on: Id | None = None
    """The deck that a working copy was made on."""
    bought: Date | None = None
    serial: Name | None = None
    maker: Name | None = None
    remark: Text | None = None

    def __post_init__(self) -> None:
        if self.fringing_compensated == "for format" and self.format is None:
            raise MisuseError("format: say which one the fringing is compensated for")
