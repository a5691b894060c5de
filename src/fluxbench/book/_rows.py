"""The rows of line-ups, journal and readings, and the page that they are written by."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fluxbench.book._things import Writing
from fluxbench.lineup import Kept


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the journal; `seq` is 0 before it is written. `at` is a UTC time, ISO 8601."""

    seq: int
    lineup: str | None
    at: str
    t_s: float
    what: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of one trimmer; `of` is the place in its page of the entry that tells of it.

    Reading and error are in `unit`, None where they are not valid; `track` is None for a stack.
    """

    of: int
    stage: str
    trimmer: str
    track: int | None
    kind: str
    """found, left or taken."""
    reading: float | None
    error: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class LineUpRow:
    """A line-up as it is listed; `plan` is what the deck showed with either tape."""

    id: str
    kind: str
    begun_at: str
    plan: Mapping[str, Any]
    closed: bool = False
    stopped: str | None = None
    deck: str | None = None
    tape: str | None = None
    """The calibration tape."""
    batch: str | None = None
    speed_ips: float | None = None
    bench: str | None = None
    """Which of the benches that share a book began it; None in a book for one alone."""


@dataclass(slots=True)
class Page:
    """What belongs together: all of it is written, or nothing."""

    lineup: str | None = None
    begun: LineUpRow | None = None
    entries: list[Entry] = field(default_factory=list)
    steps: list[Kept] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    answers: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    things: list[Writing] = field(default_factory=list)
    closed: bool = False
    stopped: str | None = None
    at: str = ""
