"""Where the tape is: places in seconds of even motion from its begin, under the reproduce head."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._random import Flutter

F64 = NDArray[np.float64]

RISE_S = 0.08
"""Time constant of the start: 98 % of the speed after 0.3 s."""
SETTLED_S = 0.5


class TapeMotion:
    """The places of the tape, frame by frame, known a little before and after the block.

    The filters of the chain take time; the deck has none of it. So the tape is read `ahead` frames
    early and written `behind` frames late.
    """

    def __init__(self, rate_hz: int, flutter: Flutter, behind: int, ahead: int) -> None:
        self._rate_hz = rate_hz
        self._flutter = flutter
        self._behind = behind
        self._ahead = ahead
        self._places = np.zeros(behind + ahead)
        self._start_s = 0.0
        self._start_frame = 0
        self._offset_s = 0.0

    @property
    def place_s(self) -> float:
        """Where the tape is now."""
        return float(self._places[self._behind])

    def settled(self, frame: int) -> bool:
        """Whether the tape has come to its speed."""
        return frame - self._start_frame > SETTLED_S * self._rate_hz

    def start(self, frame: int, place_s: float) -> None:
        """Begin to move at a frame from a place."""
        self._start_frame, self._start_s = frame, place_s
        self._offset_s = float(self._flutter.lead_s(frame, 2)[0])
        still = np.full(self._behind, place_s)
        self._places = np.concatenate([still, self._run(frame, self._ahead)])

    def advance(self, frame: int, frames: int) -> F64:
        """Places from `behind` frames before the block until `ahead` frames after it."""
        more = self._run(frame + self._ahead, frames)
        places = np.concatenate([self._places, more])
        self._places = places[frames:]
        return places

    def _run(self, first: int, frames: int) -> F64:
        since_s = (first - self._start_frame + np.arange(frames)) / self._rate_hz
        late_s = RISE_S * -np.expm1(-since_s / RISE_S)
        lead_s = self._flutter.lead_s(first, frames) - self._offset_s
        return np.asarray(self._start_s + since_s - late_s + lead_s)
