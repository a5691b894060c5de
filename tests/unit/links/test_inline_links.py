"""The links that need no sound server: the deck handed in, and the file."""

import pickle
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fluxbench.base import Flag, LinkError, MisuseError
from fluxbench.links import DeckLink, FileLink


class Gain:
    """A deck that doubles, and counts what it was given."""

    def __init__(self, tracks: int = 2, rate_hz: int = 48_000) -> None:
        self.tracks, self.rate_hz, self.frames = tracks, rate_hz, 0

    def process(self, send: np.ndarray) -> np.ndarray:
        self.frames += len(send)
        return 2.0 * send.astype(np.float64)


def test_deck_link_takes_an_object_or_a_pickled_factory() -> None:
    deck = Gain()
    assert DeckLink(deck).deck is deck
    factory = pickle.loads(pickle.dumps(partial(Gain, tracks=3, rate_hz=96_000)))
    link = DeckLink(factory, rate_hz=96_000)
    assert (link.inputs, link.outputs, link.rate_hz) == (3, 3, 96_000)


def test_deck_link_passes_samples_and_no_more_frames_than_asked() -> None:
    link = DeckLink(Gain())
    block = link.exchange(np.full((5, 2), 0.25, np.float32))
    assert block.samples.dtype == np.float32
    assert np.all(block.samples == 0.5)
    assert link.deck.frames == 5
    assert block.flags == Flag.NONE


def test_deck_link_at_another_rate_is_refused() -> None:
    with pytest.raises(MisuseError, match="runs at 48000 Hz, not at 96000 Hz"):
        DeckLink(Gain(), rate_hz=96_000)


def test_deck_link_refuses_a_deck_that_loses_frames() -> None:
    deck = Gain()
    deck.process = lambda send: send[:-1]  # type: ignore[method-assign]
    with pytest.raises(LinkError, match="gave back shape"):
        DeckLink(deck).exchange(np.zeros((5, 2), np.float32))


def _file(tmp_path: Path, frames: int, channels: int = 2, subtype: str = "PCM_24") -> Path:
    path = tmp_path / "take.wav"
    samples = np.arange(frames * channels).reshape(frames, channels) / 2.0**23
    soundfile.write(path, samples, 44_100, subtype=subtype)
    return path


def test_file_link_reads_24_bit_exactly_and_ends_short(tmp_path: Path) -> None:
    link = FileLink(_file(tmp_path, 1000))
    nothing = np.zeros((600, 0), np.float32)
    first, last, after = link.exchange(nothing), link.exchange(nothing), link.exchange(nothing)
    assert (link.inputs, link.outputs, link.rate_hz) == (2, 0, 44_100)
    assert [first.flags, last.flags, after.flags] == [Flag.NONE, Flag.END, Flag.END]
    assert [first.first_frame, last.first_frame, after.first_frame] == [0, 600, 1000]
    assert [len(b.samples) for b in (first, last, after)] == [600, 400, 0]
    read = np.concatenate([first.samples, last.samples])
    assert np.array_equal(read.ravel() * 2.0**23, np.arange(2000))


def test_file_link_marks_the_end_on_a_last_full_block(tmp_path: Path) -> None:
    link = FileLink(_file(tmp_path, 1200))
    nothing = np.zeros((600, 0), np.float32)
    assert link.exchange(nothing).flags == Flag.NONE
    assert link.exchange(nothing).flags == Flag.END


@pytest.mark.parametrize("content", [None, b"", b"not a sound file at all" * 9])
def test_file_that_cannot_be_read_is_one_line_with_its_name(
    tmp_path: Path, content: bytes | None
) -> None:
    path = tmp_path / "odd.wav"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(LinkError, match=r"odd\.wav cannot be read as a sound file") as refused:
        FileLink(path)
    assert "\n" not in str(refused.value)


def test_a_directory_is_no_sound_file(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="cannot be read as a sound file"):
        FileLink(tmp_path)
