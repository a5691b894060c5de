"""What the bench shows: what is asked of the person, and the advice on the trimmer in hand."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

WAS_PUT_BACK = "was put back to where it was found"
BACK = ", back to as found"
"""What stands behind the words of an advice while its trimmer is put back."""


class Verdict(StrEnum):
    """Where a reading stands against its target."""

    IN = "in"
    NEAR = "near"
    OUT = "out"
    NO_READING = "no reading"

    @classmethod
    def of(cls, off: float, set_band: float) -> "Verdict":
        """The verdict on a deviation, both in the same unit: near is within three set bands."""
        if abs(off) <= set_band:
            return cls.IN
        return cls.NEAR if abs(off) <= 3.0 * set_band else cls.OUT


def move_db(off_db: float, hold_db: float) -> tuple[int, str]:
    """Which way to turn (+1 raise, -1 lower, 0 hold) and the same in words."""
    if abs(off_db) <= hold_db:
        return 0, "hold"
    return (1, f"raise {off_db:.2f} dB") if off_db > 0 else (-1, f"lower {-off_db:.2f} dB")


def wait_ratio(off_db: float, hold_db: float) -> float:
    """The part of a whole window that a turn needs to show: less, the further there was to go."""
    return min(1.0, 2.0 * hold_db / max(abs(off_db), 1e-3))


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing for the person to do at the deck, in words and as plain values."""

    number: int
    kind: str
    """load, locate, transport or doubt: go on, or decline and end the line-up."""
    text: str
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Advice:
    """The trimmer in hand: where it stands, which way, how far, and when to look again.

    `deviation` is target minus reading in `unit` (positive: raise), None while it is sought.
    `way` is +1 raise, -1 lower, 0 hold. While bias is sought, `moved_db` is how far bias has gone
    since the hand came to this track, and `to_go_db` about how far it has to go on, None if that is
    not known; both in decibels of D. `back_ratio` is the part of the way from one mark to the next
    that the screw is to be turned back, where marks count. `wait_s` is how long to wait after a
    turn before believing.
    """

    trimmer: str
    track: int | None
    verdict: Verdict
    way: int
    deviation: float | None
    unit: str
    spread: float
    wait_s: float
    words: str
    moved_db: float = 0.0
    to_go_db: float | None = None
    back_ratio: float | None = None
    from_found_db: float | None = None
    """How far it stands from where it was found; of bias in decibels of D."""
    from_found_arcmin: float | None = None
    """The same of a stack."""
    goes_back: bool = False
    """Whether the target is where it was found, as the person wished."""

    @property
    def from_found(self) -> float | None:
        """How far it stands from where it was found, in `unit`."""
        return self.from_found_arcmin if self.unit == "arcmin" else self.from_found_db


@dataclass(frozen=True, slots=True)
class Board:
    """Every track against its target in the stage that runs; arrays are (tracks,), NaN if unknown.

    All are in dB, as `unit` says.
    """

    trimmer: str
    unit: str
    reading: NDArray[np.float64]
    target: NDArray[np.float64]
    spread: NDArray[np.float64]
    hold_db: float
    set_band: float


@dataclass(frozen=True, slots=True)
class AzimuthLine:
    """Delays of the live tracks, (tracks,) each, and the line through them: the head's angle."""

    trimmer: str
    frequency_hz: float
    position_mm: NDArray[np.float64]
    delay_us: NDArray[np.float64]
    line_us: NDArray[np.float64]
    angle_arcmin: float
    error_arcmin: float
    target_arcmin: float


@dataclass(frozen=True, slots=True)
class View:
    """All that the screen shows at one moment."""

    stage: str
    time_s: float
    ask: Ask | None = None
    advice: Advice | None = None
    done: int = 0
    due: int = 0
    notes: tuple[str, ...] = ()
    closed: bool = False
    stopped: str | None = None
    """Why the line-up cannot go on, if so."""
