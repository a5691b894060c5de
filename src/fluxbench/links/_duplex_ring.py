"""Both directions of a live stream on one count of frames."""

from collections import deque
from threading import Event
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag

Samples = NDArray[np.float32]


class SilenceKey(Protocol):
    """A flag that is read in every period: while it is set, nothing but silence is sent."""

    def is_set(self) -> bool: ...


class DuplexRing:
    """Hands blocks between one callback and one caller, each in its own thread, with no lock.

    The frame that arrives and the frame that leaves in the same moment have the same number. A
    sent frame leaves `lead_frames` after the arrival of the frame that it is exchanged for, always:
    what comes too late for that is left out, so a disturbance never changes the delay.
    The caller may fall behind by nearly `capacity_frames` before arriving frames are lost.
    """

    def __init__(
        self,
        inputs: int,
        outputs: int,
        capacity_frames: int,
        lead_frames: int,
        silence: SilenceKey,
    ) -> None:
        self.arrived = Event()  # set when the frames that the caller waits for are there
        self._capacity = capacity_frames
        self._lead = lead_frames
        self._silence = silence
        self._in = np.empty((capacity_frames, inputs), np.float32)
        self._out = np.empty((capacity_frames, outputs), np.float32)
        self._in.fill(0.0)  # touch every page now, not in the callback
        self._out.fill(0.0)
        # Written by the callback only. Events are (frame, flag) in order of frames.
        self.periods = 0
        self._clock = 0
        self._longest_period = 0
        self._events: deque[tuple[int, Flag]] = deque()
        # Written by the caller only.
        self._running = False
        self._taken = 0
        self._sent = lead_frames  # the first ones are silence
        self._wanted = 0

    @property
    def clock(self) -> int:
        """Frames that arrived since the first block was sent."""
        return self._clock

    @property
    def longest_block(self) -> int:
        """Frames that one call of `send` or `take` may move at most."""
        return self._capacity // 4

    # The callback's side.

    def period(self, arriving: Samples, leaving: Samples, frames: int, lost: Flag) -> None:
        """Take a period's input, fill its output, note what the server says was lost before."""
        start = self._clock
        self.periods += 1
        if not self._running:
            leaving.fill(0.0)
            return
        if frames > self._longest_period:
            self._longest_period = frames
        if lost:  # up to a period late; and what is spoilt comes back with the next one as well
            before = max(start - frames, 0)
            self._events.extend((frame, lost) for frame in (before, start, start + frames))
        self._copy_in(arriving, start, frames)
        ready = min(max(self._sent - start, 0), frames)
        if self._silence.is_set():
            leaving.fill(0.0)
        else:
            self._copy_out(leaving, start, ready)
            leaving[ready:] = 0.0
        if ready < frames:
            self._events.append((start + ready, Flag.OUTPUT_LOST))
        self._clock = start + frames
        if self._clock >= self._wanted:
            self.arrived.set()

    def _copy_in(self, arriving: Samples, start: int, frames: int) -> None:
        at = start % self._capacity
        first = min(frames, self._capacity - at)
        self._in[at : at + first] = arriving[:first]
        if first < frames:
            self._in[: frames - first] = arriving[first:]

    def _copy_out(self, leaving: Samples, start: int, frames: int) -> None:
        at = start % self._capacity
        first = min(frames, self._capacity - at)
        leaving[:first] = self._out[at : at + first]
        if first < frames:
            leaving[first:frames] = self._out[: frames - first]

    # The caller's side.

    def send(self, block: Samples) -> None:
        """Put a block where it leaves `lead_frames` after the next frames to be taken."""
        start = self._taken + self._lead
        if start > self._sent:  # frames were lost: nothing was sent for the time between
            hole = min(start - self._sent, self._capacity)
            self._put(np.zeros((hole, block.shape[1]), np.float32), start - hole)
        self._put(block, start)
        self._sent = start + len(block)
        self._wanted = self._taken + len(block)
        self._running = True

    def rest(self) -> None:
        """Let the callback send silence from now on, and count no more frames."""
        self._running = False

    def _put(self, block: Samples, start: int) -> None:
        at = start % self._capacity
        first = min(len(block), self._capacity - at)
        self._out[at : at + first] = block[:first]
        self._out[: len(block) - first] = block[first:]

    def take(self, frames: int) -> Block | None:
        """The next `frames` that arrived, or None if they are not all there yet."""
        while self._clock >= self._taken + frames:
            start, flags = self._taken, Flag.NONE
            if self._overwritten(start):
                start, flags = self._clock - frames, Flag.INPUT_LOST
            samples = self._got(start, frames)
            self._taken = start
            if self._overwritten(start):
                continue  # the callback was faster than the copy: that was too old as well
            self._taken = start + frames
            return Block(samples, start, flags | self._flags_before(start + frames))
        return None

    def _overwritten(self, frame: int) -> bool:
        """Whether the callback has come round to that frame, or may in the period it is in."""
        return self._clock + self._longest_period - frame > self._capacity

    def _got(self, start: int, frames: int) -> Samples:
        at = start % self._capacity
        first = min(frames, self._capacity - at)
        samples = np.empty((frames, self._in.shape[1]), np.float32)
        samples[:first] = self._in[at : at + first]
        samples[first:] = self._in[: frames - first]
        return samples

    def _flags_before(self, frame: int) -> Flag:
        flags = Flag.NONE
        while self._events and self._events[0][0] < frame:
            flags |= self._events.popleft()[1]
        return flags
