"""One contract for all links; the one through a real sound server stands in tests/sound."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fluxbench.base import DeckError, DeviceLostError, Flag, LinkError, MisuseError
from fluxbench.deck import PracticeDeck
from fluxbench.links import DeckApart, DeckLink, FileLink, Link
from tests.benches.wire_decks import HandedWireDeck, WireDeck

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
    # Blocks of 960 frames from what is spoilt to a flag that comes after it.
    TOLD_LATE_BLOCKS = 0
    # A stream that loses much is looked at for longer.
    MOST_BLOCKS = 60

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

    def excused_blocks(self) -> int:
        """So many silent blocks the far end tells of, of which the link cannot know."""
        return 0

    def in_order(self, samples: np.ndarray, last: int | None) -> int | None:
        """The last number of a block, None if it does not go on from `last`, or not by one."""
        found = self.numbers(samples)
        whole = np.all(found == found[:, :1]) and np.all(np.diff(found[:, 0]) == 1)
        return int(found[-1, 0]) if whole and last in (None, found[0, 0] - 1) else None

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
        frames, told, broken, clean = 960, list[bool](), list[int](), 0
        sounded, last, before = False, None, self.excused_blocks()
        while len(told) < 60 or (clean <= 30 and len(told) < self.MOST_BLOCKS):
            block = link.exchange(self.send_numbers(link, frames * len(told), frames))
            sounds = bool(np.any(block.samples != 0.0, axis=1).all())
            last = self.in_order(block.samples, last) if sounds else None
            clean += last is not None
            if last is None and (sounds or sounded):
                broken.append(len(told))
            sounded |= sounds
            told.append(bool(block.flags))
        for _ in range(self.TOLD_LATE_BLOCKS):
            told.append(bool(link.exchange(self.send_numbers(link, 0, frames)).flags))
        early, late = self.SPOILT_BLOCKS, self.TOLD_LATE_BLOCKS
        unsaid = [at for at in broken if not any(told[max(at - early, 0) : at + late + 1])]
        excused = self.excused_blocks() - before
        assert len(unsaid) <= excused, f"blocks {unsaid} are broken, and the link did not say so"
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
        block = link.exchange(np.zeros((64, link.outputs), np.float32))
        assert block.first_frame == 0 or Flag.INPUT_LOST in block.flags

    def test_close_can_be_called_twice_and_ends_the_stream(self, link: Link) -> None:
        link.close()
        link.close()
        with pytest.raises(LinkError, match="closed"):
            link.exchange(np.zeros((64, link.outputs), np.float32))


class TestDeckLink(LinkContract):
    @pytest.fixture
    def link(self) -> Iterator[Link]:
        link = DeckLink(WireDeck, RATE_HZ)
        yield link
        link.close()


class TestDeckApart(LinkContract):
    @pytest.fixture
    def link(self) -> Iterator[Link]:
        with DeckApart(HandedWireDeck) as link:
            yield link

    def test_what_was_sent_is_taken_in_before_anything_else(self, link: DeckApart) -> None:
        for at in (0, 480, 960):
            sent = self.send_numbers(link, 1 + at, 480)
            assert np.array_equal(link.exchange(sent).samples, sent)
            sent[:] = 0.0  # whoever sends may use the block again
            assert link.truth()["frames"] == at + 480

    def test_hands_come_after_the_block_that_was_sent_last(self, link: DeckApart) -> None:
        for blocks in (1, 2, 3):
            link.exchange(np.ones((480, 24), np.float32))
            assert link.state() == link.truth() == {"frames": 480 * blocks}
        assert link.transport("play", [1, 2], "sync") == {
            "state": "play", "ready": [1, 2], "monitor": "sync",
        }  # fmt: skip
        assert link.load("stock") == {"tape": "stock"}
        assert link.locate(position_s=3.0) == {"section": None, "position_s": 3.0}
        assert link.exchange(np.zeros((480, 24), np.float32)).first_frame == 3 * 480

    def test_a_deck_apart_is_the_deck_itself_sample_by_sample(self) -> None:
        """At 30 in/s, where record and reproduce head are closest in time."""
        made = partial(PracticeDeck, tracks=2, speed_ips=30.0, seed=3)
        with DeckApart(made) as apart:
            both = [(apart, apart), (DeckLink(made()), None)]
            heard = []
            for link, hands in both:
                deck = hands or link.deck
                noise = np.random.default_rng(1)
                deck.load("stock")
                blocks = []
                for n in range(80):
                    if n == 40:
                        deck.transport("record", [1, 2], "reproduce")
                    if n in (50, 60):
                        deck.turn("bias", 0.5, 1)
                        deck.turn("reproduce_level", -0.3, 2)
                    send = (0.05 * noise.standard_normal((1920, 2))).astype(np.float32)
                    blocks.append(link.exchange(send).samples)
                heard.append(np.concatenate(blocks))
        assert np.abs(heard[0][60 * 1920 :]).max() > 0.01
        assert np.array_equal(*heard)

    def test_what_the_deck_refuses_is_raised_here(self, link: DeckApart) -> None:
        with pytest.raises(DeckError, match=r"there is no knob to turn"):
            link.turn("knob", 1.0)
        assert link.state() == {"frames": 0}
        with pytest.raises(MisuseError, match="no such deck"):
            DeckApart(partial(HandedWireDeck, "none"))

    def test_a_block_that_is_too_long_is_refused(self, link: DeckApart) -> None:
        with pytest.raises(MisuseError, match="send at most 43690"):
            link.exchange(np.zeros((43_691, 24), np.float32))
        assert len(link.exchange(np.zeros((43_690, 24), np.float32)).samples) == 43_690

    def test_a_deck_that_ends_is_told(self, link: DeckApart) -> None:
        with pytest.raises(DeviceLostError, match="has ended"):
            link.turn("cable", 1.0)
        with pytest.raises(DeviceLostError, match="has ended"):
            link.exchange(np.zeros((480, 24), np.float32))


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
