"""A block of samples with what is known against it, and the words for trust."""

from dataclasses import dataclass
from enum import Flag as _Flag
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray


class Flag(_Flag):
    """What happened to the stream while a block was exchanged."""

    NONE = 0
    INPUT_LOST = auto()
    """Frames that arrived were dropped before this block (overflow or gap)."""
    OUTPUT_LOST = auto()
    """Frames to be sent came too late; silence went out instead (underflow)."""
    END = auto()
    """A file or tape has no more frames; the block may be short."""


class Validity(StrEnum):
    """Whether the numbers beside it can be trusted: only `OK` says yes."""

    OK = "ok"
    NO_SIGNAL = "no_signal"
    CLIPPED = "clipped"
    GAP = "gap"
    NOT_FINITE = "not_finite"
    DC = "dc"
    TOO_SHORT = "too_short"
    CUT = "cut"
    UNSTABLE = "unstable"


@dataclass(frozen=True, slots=True)
class Block:
    """Consecutive frames of all tracks.

    `samples` has shape (frames, tracks), float32, full scale = 1. `first_frame` counts frames
    since the stream began, lost ones included.
    """

    samples: NDArray[np.float32]
    first_frame: int
    flags: Flag = Flag.NONE
