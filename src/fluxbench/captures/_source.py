"""The samples of a capture: any stretch of it, from any thread."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from types import TracebackType
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import CaptureError
from fluxbench.captures._header import Header, read_header
from fluxbench.captures._numbers import WIDTHS, Decoder

BLOCK_SAMPLES = 1 << 18
"""Frames times tracks read at once: 1 MB as floats, which the caches can hold."""

_STRIDE = 1 << 12


def open_header(path: str) -> Header:
    """Read a capture's header; CaptureError if it is none, or cannot be opened."""
    try:
        if os.path.isdir(path):
            raise CaptureError(f"{path} is a directory; name the captures in it")
        if os.path.exists(path) and not os.path.isfile(path):
            raise CaptureError(f"{path} is no file; give a WAV, RF64, BW64, AIFF or FLAC file")
        with open(path, "rb") as file:
            header = read_header(file, path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CaptureError(f"{path} cannot be read: {reason}") from None
    if header.container == "FLAC":
        header = _decodable(path, header)
    if header.frames == 0:
        raise CaptureError(f"{path} holds no frames")
    return header


class _Reader(Protocol):
    def seek(self, frame: int) -> None: ...
    def read(self, frames: int) -> NDArray[np.float32]: ...
    def close(self) -> None: ...

    failed: int


class Source:
    """One open file; each thread opens its own.

    `tracks` are counted from 1. Frames that can no longer be had come as silence, and `failed`
    counts them.
    """

    def __init__(self, path: str, header: Header, tracks: Sequence[int]) -> None:
        self._most = max(BLOCK_SAMPLES // header.tracks, 256)
        columns = [track - 1 for track in tracks]
        self._tracks = len(columns)
        self._reader: _Reader = (
            _Packed(path, columns)
            if header.data_offset is None
            else _Plain(path, header, columns, self._most)
        )
        self._missing = 0

    @property
    def failed(self) -> int:
        """Frames that could not be had by now."""
        return self._missing + self._reader.failed

    def __enter__(self) -> "Source":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._reader.close()

    def blocks(self, first: int, last: int, multiple: int = 1) -> Iterator[NDArray[np.float32]]:
        """Frames `first` to `last` in blocks, (frames, tracks), float32; full scale 1.

        Blocks but for the last are a whole `multiple` of frames long, up to what is read at once,
        and good until the next one is asked for. Each track's samples lie side by side in memory.
        """
        self._reader.seek(first)
        stride = max(self._most // multiple * multiple, min(multiple, self._most))
        for at in range(first, last, stride):
            wanted = min(stride, last - at)
            samples = self._reader.read(wanted)
            if missing := wanted - len(samples):
                self._missing += missing
                silence = np.zeros((self._tracks, missing), np.float32).T
                samples = np.concatenate([samples, silence])
            yield samples


class _Plain:
    """Samples that lie in the file as plain numbers."""

    failed = 0

    def __init__(self, path: str, header: Header, columns: Sequence[int], most_frames: int) -> None:
        self._frame_bytes = header.tracks * WIDTHS[header.coding]
        self._offset = header.data_offset or 0
        self._decoder = Decoder(
            header.coding, header.big_endian, header.tracks, columns, most_frames
        )
        self._file = open(path, "rb", buffering=0)  # noqa: SIM115 (closed by close)

    def seek(self, frame: int) -> None:
        self._file.seek(self._offset + frame * self._frame_bytes)

    def read(self, frames: int) -> NDArray[np.float32]:
        room = self._decoder.room(frames)
        filled = 0
        while filled < len(room):
            got = self._file.readinto(room[filled:])
            if not got:
                break
            filled += got
        return self._decoder.decode(filled // self._frame_bytes)

    def close(self) -> None:
        self._file.close()


class _Packed:
    """Samples that only a decoder finds."""

    def __init__(self, path: str, columns: Sequence[int] = (0,)) -> None:
        self._columns = list(columns)
        self._at = self.failed = 0
        # Late: plain numbers need it not.
        import soundfile  # type: ignore[import-untyped]

        self._broken = soundfile.LibsndfileError
        self._open: Callable[[], Any] = partial(soundfile.SoundFile, path)
        try:
            self._file = self._open()
        except (soundfile.LibsndfileError, OSError) as error:
            reason = getattr(error, "error_string", str(error)).strip().rstrip(".")
            raise CaptureError(f"{path} cannot be read as a sound file: {reason}") from None

    def seek(self, frame: int) -> None:
        """Go to a frame; in a file that is cut only reading leads there."""
        try:
            self._file.seek(frame)
        except self._broken:
            self._begin_anew()
            for at in range(0, frame, _STRIDE):
                if not len(self._some(min(_STRIDE, frame - at))):
                    break
        self._at = frame

    def read(self, frames: int) -> NDArray[np.float32]:
        """The next frames; fewer at the end of a cut file, silence where a file is damaged."""
        samples = self._some(frames)
        if len(samples) < frames:
            samples = self._around_damage(frames, samples)
        self._at += len(samples)
        return np.ascontiguousarray(samples.T[self._columns], np.float32).T

    def _some(self, frames: int) -> NDArray[np.float32]:
        try:
            return np.asarray(self._file.read(frames, dtype="float32", always_2d=True))
        except self._broken:
            return np.zeros((0, self._file.channels), np.float32)

    def _around_damage(self, frames: int, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Each stretch that can be had by going there; what was read already if none can be."""
        whole, good, failed = np.zeros((frames, self._file.channels), np.float32), 0, 0
        self._begin_anew()
        for at in range(0, frames, _STRIDE):
            wanted = min(_STRIDE, frames - at)
            try:
                self._file.seek(self._at + at)
                whole[at : at + wanted] = self._file.read(wanted, dtype="float32", always_2d=True)
            except (self._broken, ValueError):  # the latter: there is less of it
                self._begin_anew()
                failed += wanted
            else:
                good += wanted
        if not good:
            return samples
        self.failed += failed
        with suppress(self._broken):
            self._file.seek(self._at + frames)
        return whole

    def _begin_anew(self) -> None:
        """What has failed once fails for ever after, until the file is opened again."""
        self._file.close()
        self._file = self._open()

    @property
    def format(self) -> tuple[int, int, int]:
        """Rate in Hz, tracks and frames, as the decoder sees them."""
        return self._file.samplerate, self._file.channels, self._file.frames

    def close(self) -> None:
        self._file.close()


def _decodable(path: str, header: Header) -> Header:
    """A FLAC header with the frames that can be had, fewer than declared if the file is cut."""
    reader = _Packed(path)
    rate_hz, tracks, frames = reader.format
    declared = header.declared_frames or frames
    try:
        if (rate_hz, tracks) != (header.rate_hz, header.tracks):
            raise CaptureError(f"{path} contradicts itself about rate or tracks; it is damaged")
        reader.seek(max(declared - 1, 0))
        if len(reader.read(1)):
            return replace(header, frames=declared, declared_frames=declared)
        reader.seek(0)
        present = 0
        while got := len(reader.read(_STRIDE)):
            present += got
    finally:
        reader.close()
    return replace(header, frames=min(present, declared), declared_frames=declared)
