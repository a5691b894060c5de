"""Channels and tracks: what is sent to a track comes out of its channel, and back again."""

import numpy as np
import pytest

from fluxbench.base import Block, Cables, Flag, MisuseError
from fluxbench.links import CabledLink

FRAMES = 16


class Echo:
    """An interface that returns 10 + n on input n, and remembers what went out."""

    rate_hz = 48_000

    def __init__(self, inputs: int, outputs: int) -> None:
        self.inputs, self.outputs = inputs, outputs
        self.sent = np.zeros((0, outputs), np.float32)

    def exchange(self, send: np.ndarray) -> Block:
        self.sent = send
        back = np.tile(10.0 + np.arange(self.inputs), (len(send), 1)).astype(np.float32)
        return Block(back, 7, Flag.INPUT_LOST)

    def close(self) -> None:
        self.sent = np.zeros((0, 0), np.float32)


def send_of(tracks: int) -> np.ndarray:
    """Track t sends 100 + t."""
    return np.tile(100.0 + np.arange(tracks), (FRAMES, 1)).astype(np.float32)


@pytest.mark.parametrize(
    ("cables", "sent", "back"),
    [
        (Cables.straight(3), [100, 101, 102, 0], [10, 11, 12]),
        (Cables(3, (2, None, 0), (None, 1)), [0, 101, 0, 0], [12, 0, 10]),
        (Cables(3, (None, 1), (None, None, None), 2), [0, 0, 101, 0], [0, 11, 0]),
        (Cables.listening(4), [0, 0, 0, 0], [10, 11, 12, 13]),
    ],
)
def test_each_channel_has_its_track(cables: Cables, sent: list[int], back: list[int]) -> None:
    echo = Echo(4, 4)
    link = CabledLink(echo, cables)
    assert (link.inputs, link.outputs) == (cables.tracks, cables.tracks)
    block = link.exchange(send_of(cables.tracks))
    assert echo.sent.tolist() == [sent] * FRAMES
    assert block.samples.tolist() == [back] * FRAMES
    assert (block.first_frame, block.flags) == (7, Flag.INPUT_LOST)


def test_cables_may_be_changed() -> None:
    echo = Echo(2, 2)
    link = CabledLink(echo, Cables(4, (0, 1), (0, 1)))
    link.cable(Cables(4, (2, 3), (2, 3)))
    assert link.exchange(send_of(4)).samples[0].tolist() == [0, 0, 10, 11]
    assert echo.sent[0].tolist() == [102, 103]


@pytest.mark.parametrize(
    ("cables", "line"),
    [
        (Cables(4, (0, 1, 2), (0,)), "2 inputs; 3"),
        (Cables(4, (0,), (0, 1, 2)), "2 outputs; 3"),
        (Cables(4, (0,), (), 4), "2 outputs; 5"),
    ],
)
def test_channels_that_are_not_there(cables: Cables, line: str) -> None:
    with pytest.raises(MisuseError, match=line):
        CabledLink(Echo(2, 2), cables)


def test_a_send_of_the_wrong_shape() -> None:
    with pytest.raises(MisuseError, match="float32"):
        CabledLink(Echo(2, 2), Cables.straight(2)).exchange(np.zeros((4, 3), np.float32))
