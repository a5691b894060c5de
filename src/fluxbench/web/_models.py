"""What comes in, checked, and what goes out, described for the screens."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{1,64}$")]
Text = Annotated[str, Field(min_length=1, max_length=500)]
Track = Annotated[int, Field(ge=1, le=64)]
Turns = Annotated[float, Field(ge=-100.0, le=100.0, allow_inf_nan=False)]


Number = Annotated[float, Field(allow_inf_nan=False)]
Limit = Literal[
    "response_db",
    "noise_db",
    "third_harmonic_percent",
    "crosstalk_db",
    "erasure_db",
    "return_flutter_percent",
    "maximum_output_db",
]
Verified = Literal["response", "noise", "distortion", "crosstalk", "flutter", "maximum", "erasure"]


class Strict(BaseModel):
    """No field that is not named."""

    model_config = ConfigDict(extra="forbid", strict=True)


class Constants(Strict):
    """Time constants of an equalisation."""

    t1_us: Number | None = None
    t2_us: Number


class LabelTone(Strict):
    """A line-up tone as a label names it."""

    frequency_hz: Number
    level_db: Number = 0.0
    seconds: Number = 30.0


class Label(Strict):
    """What the label of a reel says; levels of its tones are re its fluxivity."""

    fluxivity_nwb_per_m: Number
    equalisation: Constants
    tones: Annotated[list[LabelTone], Field(min_length=1, max_length=40)]


Channel = Annotated[int, Field(ge=1, le=128)]


class UsedChannels(Strict):
    """Channels of the interface, counted from 1, in the order of the tracks they are cabled to.

    With fewer inputs than tracks the bench goes bank by bank; with fewer outputs than a bank the
    first one is multed to the inputs of all tracks.
    """

    inputs: Annotated[list[Channel], Field(min_length=1, max_length=128)]
    outputs: Annotated[list[Channel], Field(min_length=1, max_length=128)]


class Begin(Strict):
    """Start a line-up."""

    id: Id
    command: Literal["begin"]
    kind: Literal[
        "line-up",
        "check",
        "verification",
        "tones",
        "reel",
        "working copy",
        "part",
        "first turns",
        "whose fault",
    ] = "line-up"
    plan: dict[str, Any] | None = None
    verify: list[Verified] | None = None
    """What a verification reads; everything if left out."""
    limits: dict[Limit, Annotated[float, Field(allow_inf_nan=False)]] | None = None
    """Limits of a verification that are not the usual ones."""
    seconds: Annotated[float, Field(ge=2.0, le=300.0, allow_inf_nan=False)] | None = None
    """How long each line-up tone is printed; 30 s if left out."""
    reel: Label | None = None
    """What the label of a reel from elsewhere says; the practice deck tells it of its own reel."""
    channels: UsedChannels | None = None
    """Which channels of the interface are cabled to the deck; all, in their order, if left out."""
    unused: Annotated[list[Channel], Field(max_length=128)] | None = None
    """Tracks that are left alone, counted from 1."""
    between: Annotated[list[Track], Field(min_length=2, max_length=2)] | None = None
    """Of whose fault it is: the track that is at fault, and a good one beside it."""
    stages: Annotated[list[Text], Field(max_length=20)] | None = None
    """Of a part: the stages that are gone through, beside the input check and the close."""
    trimmers: Annotated[list[Text], Field(max_length=20)] | None = None
    """The trimmers that are set, of those that the deck has; all if left out, none if empty."""
    deck: Id | None = None
    """Things of the book that the line-up is about, by their ids; what they are now is kept."""
    tape: Id | None = None
    stock: Id | None = None
    batch: Id | None = None
    interface: Id | None = None
    printed_on: Id | None = None
    """The reel that line-up tones are printed on: what was printed is written to it."""
    copy_name: Annotated[str, Field(min_length=1, max_length=80, pattern=r"\S")] | None = None
    """What a working copy of `tape` is called in the book."""
    speed_ips: Annotated[float, Field(gt=0.0, le=120.0, allow_inf_nan=False)] | None = None
    """Which of the deck's speeds, where the plan comes from the book."""


class Done(BaseModel):
    """A command was carried out."""

    id: str
    done: bool
    seq: int | None = None


class Refused(BaseModel):
    """Why not, in one line."""

    error: str


class Event(BaseModel):
    """One row of the journal."""

    seq: int
    lineup: str | None
    at: str
    t: float | None
    what: str
    facts: dict[str, Any]


class Events(BaseModel):
    """Rows of the journal after a number."""

    events: list[Event]
    seq: int


class LineUpListed(BaseModel):
    """A line-up in the list."""

    id: str
    kind: str
    begun_at: str
    tracks: int
    speed_ips: float
    closed: bool
    stopped: str | None
    deck: str | None
    tape: str | None
    batch: str | None


class LineUps(BaseModel):
    """All line-ups, newest first."""

    lineups: list[LineUpListed]


class Journal(BaseModel):
    """The journal of one line-up."""

    lineup: str
    journal: list[Event]


class Turn(Strict):
    """Turn a trimmer of the deck."""

    id: Id
    trimmer: Text
    turns: Turns
    track: Track | None = None


class Transport(Strict):
    """Press keys."""

    state: Text | None = None
    ready: list[Track] | None = None
    monitor: Text | None = None


class Load(Strict):
    """Thread a tape."""

    tape: Text


class Locate(Strict):
    """Wind to a section or a place."""

    section: int | None = None
    position_s: Annotated[float, Field(allow_inf_nan=False)] | None = None


class FaultsOn(Strict):
    """The faults that are on."""

    on: Annotated[list[Text], Field(max_length=100)]


class Swap(Strict):
    """Have cards or head leads of two tracks change places."""

    what: Text
    tracks: Annotated[list[Track], Field(min_length=2, max_length=2)]


class Speed(Strict):
    """Press the key of another speed."""

    speed_ips: Annotated[float, Field(allow_inf_nan=False)]


class Renew(Strict):
    """Another practice deck."""

    seed: Annotated[int, Field(ge=0, le=999_999)] = 1
    tracks: Track | None = None
    speed_ips: Annotated[float, Field(allow_inf_nan=False)] | None = None
