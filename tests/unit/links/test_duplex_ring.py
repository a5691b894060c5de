"""The ring between callback and caller, stepped by hand: no sound, no threads."""

from threading import Event

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fluxbench.base import Block, Flag
from fluxbench.links._duplex_ring import DuplexRing

LEAD = 40


class Wire:
    """A ring whose callback is called here: what leaves arrives `delay` frames later."""

    def __init__(self, capacity: int = 400, delay: int = 16) -> None:
        self.silence = Event()
        self.ring = DuplexRing(1, 1, capacity, LEAD, self.silence)
        self.line = [0.0] * delay
        self.left: list[float] = []

    def run(self, frames: int, lost: Flag = Flag.NONE) -> None:
        leaving = np.full((frames, 1), np.nan, np.float32)
        arriving = np.array(self.line[:frames], np.float32)[:, None]
        self.ring.period(arriving, leaving, frames, lost)
        self.line = [*self.line[frames:], *leaving[:, 0].tolist()]
        self.left += leaving[:, 0].tolist()


def numbers(first: int, frames: int) -> np.ndarray:
    return np.arange(first, first + frames, dtype=np.float32)[:, None]


def taken(wire: Wire, frames: int) -> Block:
    block = wire.ring.take(frames)
    assert block is not None
    return block


def test_nothing_is_counted_before_the_first_send() -> None:
    wire = Wire()
    wire.run(16)
    assert wire.ring.clock == 0
    assert wire.ring.take(1) is None
    assert wire.left == [0.0] * 16


def test_a_sent_frame_leaves_after_the_lead() -> None:
    wire = Wire()
    wire.ring.send(numbers(1, 20))
    for _ in range(5):
        wire.run(12)
    assert wire.left == [0.0] * LEAD + list(range(1, 21))


def test_the_caller_is_woken_when_its_frames_are_there() -> None:
    wire = Wire()
    wire.ring.send(numbers(1, 20))
    wire.run(16)
    assert not wire.ring.arrived.is_set()
    assert wire.ring.take(20) is None
    wire.run(16)
    assert wire.ring.arrived.is_set()
    assert taken(wire, 20).first_frame == 0


def test_output_that_comes_too_late_is_silence_and_the_delay_stays() -> None:
    wire = Wire()
    wire.ring.send(numbers(1, 16))
    for _ in range(6):  # 96 frames leave: lead 40, 16 sent, 40 too late
        wire.run(16)
    assert wire.left[LEAD + 16 :] == [0.0] * 40
    flags = [taken(wire, 16).flags]
    for first in range(17, 17 + 160, 16):
        wire.ring.send(numbers(first, 16))
        block = wire.ring.take(16)  # the caller catches up without waiting
        if block is None:
            wire.run(16)
            block = taken(wire, 16)
        flags.append(block.flags)
    # Frame k leaves at LEAD + k - 1, or never.
    for at, value in enumerate(wire.left):
        assert value in (0.0, at - LEAD + 1)
    assert wire.left[-1] != 0.0
    told = [bool(flag & Flag.OUTPUT_LOST) for flag in flags]
    assert told == [False] * 3 + [True] * 3 + [False] * 5
    assert not any(flag & Flag.INPUT_LOST for flag in flags)


def test_an_overrun_jumps_and_says_so() -> None:
    wire = Wire(capacity=200, delay=16)
    wire.ring.send(numbers(1, 16))
    for _ in range(20):
        wire.run(16)
    block = taken(wire, 16)
    assert block.flags & Flag.INPUT_LOST
    assert block.first_frame == 320 - 16
    assert len(block.samples) == 16
    wire.ring.send(numbers(17, 16))
    wire.run(16)
    after = taken(wire, 16)
    assert (after.first_frame, after.flags) == (320, Flag.NONE)
    # What was sent leaves LEAD after the frame it was exchanged for; no old samples before it.
    for _ in range(4):
        wire.run(16)
    assert wire.left[320:] == [0.0] * LEAD + list(range(17, 33)) + [0.0] * 24


def test_what_the_server_lost_travels_with_its_block_and_the_next_period() -> None:
    wire = Wire()
    flags = []
    for index in range(6):
        wire.ring.send(numbers(1, 16))
        wire.run(16, Flag.INPUT_LOST if index == 2 else Flag.NONE)
        flags.append(taken(wire, 16).flags)
    assert flags == [Flag.NONE] * 2 + [Flag.INPUT_LOST] * 2 + [Flag.NONE] * 2


def test_the_silence_key_works_in_the_next_period() -> None:
    wire = Wire()
    for _ in range(4):
        wire.ring.send(np.ones((16, 1), np.float32))
        wire.run(16)
        taken(wire, 16)
    assert wire.left[-1] == 1.0
    wire.silence.set()
    wire.run(16)
    assert wire.left[-16:] == [0.0] * 16


def test_a_ring_at_rest_sends_silence() -> None:
    wire = Wire()
    wire.ring.send(np.ones((100, 1), np.float32))
    wire.run(16)
    wire.ring.rest()
    for _ in range(4):
        wire.run(16)
    assert set(wire.left) == {0.0}
    assert wire.ring.clock == 16


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 60), st.integers(0, 9)), min_size=1, max_size=60))
def test_every_frame_comes_once_or_is_told_as_lost(steps: list[tuple[int, int]]) -> None:
    """Any rhythm of blocks and periods: numbers rise by one, or the block says what was lost."""
    ring = DuplexRing(1, 1, 300, LEAD, Event())
    clock = expected = 0
    for frames, periods in steps:
        ring.send(np.zeros((frames, 1), np.float32))
        for _ in range(periods):
            ring.period(numbers(clock, 16), np.empty((16, 1), np.float32), 16, Flag.NONE)
            clock += 16
        block = ring.take(frames)
        while block is None:
            ring.period(numbers(clock, 16), np.empty((16, 1), np.float32), 16, Flag.NONE)
            clock += 16
            block = ring.take(frames)
        assert np.array_equal(block.samples, numbers(block.first_frame, frames))
        assert (block.first_frame != expected) == bool(block.flags & Flag.INPUT_LOST)
        assert block.first_frame >= expected
        expected = block.first_frame + frames
