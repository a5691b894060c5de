"""One contract for all links; the one through a real sound server stands in tests/sound."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fluxbench.base import Flag, LinkError, MisuseError
from fluxbench.links import DeckLink, FileLink, Link

RATE_HZ = 48_000


class LinkContract:
    """What holds for every link.

    A subclass gives the fixture `link`: one whose inputs bring back what `send_numbers` sent, or
    for one that cannot send, what it would have.
    """

    # Whole numbers up to 2**24 are exact in float32, and so is their division by a power of two.
    SCALE = np.float32(2.0**-24)
    # Blocks of 960 frames from a flag to the return of what it tells of.
    SPOILT_BLOCKS = 2

    def send_numbers(self, link: Link, first: int, frames: int) -> np.ndarray:
        """Frame k carries k on every output, shifted by 2**20 a channel."""
        numbers = np.arange(first, first + frames)[:, None] + self.offsets(link.outputs)
        return (numbers % 2**24).astype(np.float32) * self.SCALE

    @staticmethod
    def offsets(channels: int) -> np.ndarray:
        return 2**19 * np.arange(channels)

    def numbers(self, samples: np.ndarray) -> np.ndarray:
        """What `send_numbers` sent, channel offsets taken off again."""
        found = np.round(samples.astype(np.float64) / float(self.SCALE)).astype(np.int64)
        return (found - self.offsets(samples.shape[1])) % 2**24

    def test_says_what_it_is(self, link: Link) -> None:
        assert link.rate_hz > 0
        assert link.inputs > 0
        assert link.outputs >= 0

    def test_gives_back_as_many_frames_of_all_inputs(self, link: Link) -> None:
        for frames in (64, 480, 1, 960):
            block = link.exchange(np.zeros((frames, link.outputs), np.float32))
            assert block.samples.shape == (frames, link.inputs)
            assert block.samples.dtype == np.float32

    def test_first_frame_counts_every_frame(self, link: Link) -> None:
        expected = 0
        for frames in (960, 1, 333, 960):
            block = link.exchange(np.zeros((frames, link.outputs), np.float32))
            if Flag.INPUT_LOST in block.flags:
                assert block.first_frame >= expected
            else:
                assert block.first_frame == expected
            expected = block.first_frame + frames

    def test_frames_come_in_order_each_once_each_channel_its_own(self, link: Link) -> None:
        frames = 960
        clean, spoilt = 0, 0
        last: int | None = None
        for start in range(0, 60 * frames, frames):
            block = link.exchange(self.send_numbers(link, start, frames))
            spoilt = self.SPOILT_BLOCKS if block.flags else max(spoilt - 1, 0)
            sounding = np.any(block.samples != 0.0, axis=1)
            if spoilt or not sounding.all():
                assert spoilt or last is None, "silence came back, and the link did not say so"
                last = None
                continue
            found = self.numbers(block.samples)
            assert np.all(found == found[:, :1])
            assert np.all(np.diff(found[:, 0]) == 1)
            assert last is None or found[0, 0] == last + 1
            last, clean = int(found[-1, 0]), clean + 1
        assert clean > 30

    def test_a_block_is_not_overwritten_by_the_next(self, link: Link) -> None:
        blocks = [
            link.exchange(self.send_numbers(link, start, 480)) for start in range(0, 9600, 480)
        ]
        kept = [block.samples.copy() for block in blocks]
        for start in range(9600, 19_200, 480):
            link.exchange(self.send_numbers(link, start, 480))
        for block, copy in zip(blocks, kept, strict=True):
            assert np.array_equal(block.samples, copy)

    def test_wrong_sends_are_refused_with_one_line(self, link: Link) -> None:
        for wrong in (
            np.zeros((64, link.outputs + 1), np.float32),
            np.zeros(64, np.float32),
            np.zeros((64, link.outputs), np.float64),
        ):
            with pytest.raises(MisuseError, match=r"this link takes float32") as refused:
                link.exchange(wrong)
            assert "\n" not in str(refused.value)
        assert link.exchange(np.zeros((64, link.outputs), np.float32)).first_frame == 0

    def test_close_can_be_called_twice_and_ends_the_stream(self, link: Link) -> None:
        link.close()
        link.close()
        with pytest.raises(LinkError, match="closed"):
            link.exchange(np.zeros((64, link.outputs), np.float32))


class WireDeck:
    """A deck of wires: what goes in comes out."""

    rate_hz = RATE_HZ
    tracks = 24

    def process(self, send: np.ndarray) -> np.ndarray:
        return send.copy()


class TestDeckLink(LinkContract):
    @pytest.fixture
    def link(self) -> Iterator[Link]:
        link = DeckLink(WireDeck, RATE_HZ)
        yield link
        link.close()


class TestFileLink(LinkContract):
    @pytest.fixture
    def link(self, tmp_path: Path) -> Iterator[Link]:
        path = tmp_path / "numbers.wav"
        numbers = np.arange(1, 70_000)[:, None] + self.offsets(24)
        samples = (numbers % 2**24).astype(np.float32) * self.SCALE
        soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
        link = FileLink(path)
        yield link
        link.close()
