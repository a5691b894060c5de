"""A Broadcast Wave file is whole under its name or not there; its header holds at any length."""

import errno
import os
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile  # type: ignore[import-untyped]
from numpy.typing import NDArray

from fluxbench.base import CaptureError, MisuseError
from fluxbench.captures import BroadcastExtension, WaveFormat, write_wave
from fluxbench.captures._bext import broadcast_extension, packed
from fluxbench.captures._header import read_header
from fluxbench.captures._wave_file import wave_header

NOTHING_SAID = BroadcastExtension()
WAVE = np.random.default_rng(1).uniform(-1.0, 1.0, (1001, 3))


def blocks() -> Iterator[NDArray[np.float64]]:
    yield WAVE[:400]
    yield WAVE[400:]


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("tracks", [1, 2, 3])
def test_samples_are_rounded_to_the_nearest_step(tmp_path: Path, bits: int, tracks: int) -> None:
    """Read by libsndfile; 1001 frames of 3 bytes need a byte to fill up."""
    path, wave = tmp_path / "a.wav", WAVE[:, :tracks]
    write_wave(path, WaveFormat(44_100, bits, tracks, 1001), NOTHING_SAID, [wave])
    found, rate_hz = soundfile.read(path, always_2d=True)
    assert rate_hz == 44_100
    assert soundfile.info(path).subtype == f"PCM_{bits}"
    assert np.abs(found - wave).max() <= 0.5 * 2.0 ** (1 - bits)
    length = path.stat().st_size
    assert length % 2 == 0
    assert struct.unpack_from("<I", path.read_bytes(), 4) == (length - 8,)


def test_full_scale_does_not_turn_over(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_wave(path, WaveFormat(8000, 24, 1, 2), NOTHING_SAID, [np.array([[1.0], [-1.0]])])
    assert soundfile.read(path, dtype="int32")[0].tolist() == [(2**23 - 1) << 8, -(2**31)]


@pytest.mark.parametrize(
    ("frames", "container"), [(715_827_600, "WAV"), (715_827_900, "RF64"), (1 << 33, "RF64")]
)
def test_the_header_of_a_file_around_and_above_4_gib(
    tmp_path: Path, frames: int, container: str
) -> None:
    """The samples are a hole; libsndfile knows RIFF and RF64."""
    path, form = tmp_path / "long.wav", WaveFormat(48_000, 24, 2, frames)
    head = wave_header(form, NOTHING_SAID)
    path.write_bytes(head)
    os.truncate(path, len(head) + form.data_bytes)
    info = soundfile.info(path)
    assert (info.format, info.frames, info.channels) == (container, frames, 2)
    with path.open("rb") as file:
        header = read_header(file, "long.wav")
    assert (header.container, header.frames, header.declared_frames) == (container, frames, frames)
    assert header.broadcast == NOTHING_SAID


def test_an_extension_is_read_back_as_it_was_packed() -> None:
    told = BroadcastExtension(
        "reel 12", "bench", "x7", "2026-03-04", "05-06-07", 2**32 + 5, 2, "06aa" * 32,
        -23.1, 4.0, -1.25, None, -300.0,
        ({"A": "ANALOGUE", "M": "mono"}, {"A": "PCM", "F": "48000", "T": "a; b"}),
    )  # fmt: skip
    assert broadcast_extension(packed(told)) == told


def test_a_text_too_long_is_cut_and_a_foreign_letter_is_a_question_mark() -> None:
    data = packed(BroadcastExtension(description="d" * 300, originator="Büro"))
    assert len(data) == 602
    assert data[:261] == b"d" * 256 + b"B?ro\0"


class Full:
    """Blocks during which the disk fills."""

    def __iter__(self) -> Iterator[NDArray[np.float64]]:
        yield WAVE[:400]
        raise OSError(errno.ENOSPC, "No space left on device")


FORM = WaveFormat(48_000, 24, 3, 1001)


@pytest.mark.parametrize("replace", [False, True])
def test_a_disk_that_fills_leaves_what_was_there(tmp_path: Path, replace: bool) -> None:
    path = tmp_path / "a.wav"
    if replace:
        path.write_bytes(b"mine")
    with pytest.raises(CaptureError, match=r"a\.wav cannot be written: No space left on device; "):
        write_wave(path, FORM, NOTHING_SAID, Full(), replace=replace)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"mine"] * replace


def test_a_disk_that_only_tells_at_the_end_that_it_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a disk of another machine may."""

    def full(handle: int) -> None:
        raise OSError(errno.EDQUOT, "Disk quota exceeded")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CaptureError, match="Disk quota exceeded"):
        write_wave(tmp_path / "a.wav", FORM, NOTHING_SAID, blocks())
    assert list(tmp_path.iterdir()) == []


def test_what_is_cut_short_gets_no_name(tmp_path: Path) -> None:
    def interrupted() -> Iterator[NDArray[np.float64]]:
        yield WAVE[:400]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_wave(tmp_path / "a.wav", FORM, NOTHING_SAID, interrupted())
    with pytest.raises(CaptureError, match="3600 of 9009 bytes came"):
        write_wave(tmp_path / "a.wav", FORM, NOTHING_SAID, [WAVE[:400]])
    assert list(tmp_path.iterdir()) == []


def no_links(self: Path, target: Path) -> None:
    raise PermissionError(errno.EPERM, "Operation not permitted")


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_comes_while_another_is_written_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """Also on a file system that has no links, such as that of many a memory stick."""
    path = tmp_path / "a.wav"
    if not links:
        monkeypatch.setattr(Path, "hardlink_to", no_links)

    def slow() -> Iterator[NDArray[np.float64]]:
        yield WAVE
        path.write_bytes(b"theirs")

    with pytest.raises(MisuseError, match="is there already"):
        write_wave(path, FORM, NOTHING_SAID, slow())
    assert path.read_bytes() == b"theirs"
    path.unlink()
    write_wave(path, FORM, NOTHING_SAID, blocks())
    assert soundfile.info(path).frames == 1001
    assert list(tmp_path.iterdir()) == [path]


def test_only_a_file_is_replaced_and_through_a_link_the_one_it_leads_to(tmp_path: Path) -> None:
    pipe, link, real = tmp_path / "pipe", tmp_path / "link.wav", tmp_path / "real.wav"
    os.mkfifo(pipe)
    real.write_bytes(b"old")
    link.symlink_to(real)
    for no_file in (pipe, tmp_path):
        with pytest.raises(MisuseError, match="is no file that could be replaced"):
            write_wave(no_file, FORM, NOTHING_SAID, blocks(), replace=True)
    write_wave(link, FORM, NOTHING_SAID, blocks(), replace=True)
    assert link.is_symlink()
    assert soundfile.info(real).frames == 1001


def test_other_word_lengths_are_refused(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="use 16 or 24"):
        write_wave(tmp_path / "a.wav", WaveFormat(48_000, 20, 3, 1001), NOTHING_SAID, blocks())
