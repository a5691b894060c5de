"""What the header of a sound file says, believed only as far as it can be true.

The files of Fluxbench's captures are WAV, RF64, BW64 (the three also as Broadcast Wave), AIFF and
FLAC. Their headers are read here and nowhere else, so that no other code meets a hostile one;
the samples of all but FLAC are plain numbers from `data_offset` on.
"""

import os
import struct
from collections.abc import Generator
from dataclasses import dataclass
from typing import BinaryIO

from fluxbench.base import CaptureError
from fluxbench.captures._bext import BroadcastExtension, broadcast_extension
from fluxbench.captures._numbers import WIDTHS

RATES_HZ = (8_000, 192_000)
TRACKS = (1, 64)

_MOST_CHUNKS = 4096
_LARGEST_FORMAT = 4096
_LARGEST_BEXT = 1 << 20
_NOT_KNOWN_YET = (0, 0xFFFFFFFF)
"""What stands for the length of the data while a file is still being written."""

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE


@dataclass(frozen=True, slots=True)
class Header:
    """How the samples of a capture lie in its file.

    `frames` are there, `declared_frames` should be. `data_offset` is None for FLAC, whose samples
    only a decoder finds. `coding` is one of `WIDTHS`, or FLAC.
    """

    container: str
    coding: str
    rate_hz: int
    tracks: int
    frames: int
    declared_frames: int
    data_offset: int | None
    big_endian: bool
    broadcast: BroadcastExtension | None
    notes: tuple[str, ...] = ()

    @property
    def has_8_bits(self) -> bool:
        """Whether its steps are so coarse that a wave stands still on them."""
        return WIDTHS.get(self.coding) == 1


@dataclass(frozen=True, slots=True)
class _Format:
    coding: str
    rate_hz: int
    tracks: int


def read_header(file: BinaryIO, path: str) -> Header:
    """Read the header of an open file; CaptureError if it is none that can be measured."""
    length = os.fstat(file.fileno()).st_size
    start = file.read(12)
    if not start:
        raise CaptureError(f"{path} is empty")
    if start[:4] in (b"RIFF", b"RF64", b"BW64") and start[8:12] == b"WAVE":
        header = _wave(file, path, length, start[:4])
    elif start[:4] == b"FORM" and start[8:12] in (b"AIFF", b"AIFC"):
        header = _aiff(file, path, length, start[8:12] == b"AIFC")
    elif start[:4] == b"fLaC":
        header = _flac(file, path)
    else:
        raise CaptureError(
            f"{path} is no sound file that can be read; give a WAV, RF64, BW64, AIFF or FLAC file"
        )
    if not RATES_HZ[0] <= header.rate_hz <= RATES_HZ[1]:
        raise CaptureError(
            f"{path} claims a sample rate of {header.rate_hz} Hz;"
            f" {RATES_HZ[0]} to {RATES_HZ[1]} Hz can be read"
        )
    if not TRACKS[0] <= header.tracks <= TRACKS[1]:
        raise CaptureError(
            f"{path} claims {header.tracks} tracks; {TRACKS[0]} to {TRACKS[1]} can be read"
        )
    return header


def _chunks(
    file: BinaryIO, first: int, length: int, order: str
) -> Generator[tuple[bytes, int, int], int | None]:
    """Name, place and claimed size of every chunk; the caller may move the file."""
    at = first
    for _ in range(_MOST_CHUNKS):
        file.seek(at)
        head = file.read(8)
        if len(head) < 8:
            return
        name, size = struct.unpack(f"{order}4sI", head)
        at += 8
        told = yield name, at, size
        size = size if told is None else told
        at += size + size % 2
        if at >= length:
            return


def _wave(file: BinaryIO, path: str, length: int, kind: bytes) -> Header:
    container = {b"RIFF": "WAV"}.get(kind, kind.decode("ascii"))
    long_sizes: dict[bytes, int] = {}
    found: _Format | None = None
    data: tuple[int, int] | None = None
    broadcast = None
    notes = []
    chunks = _chunks(file, 12, length, "<")
    size_told: int | None = None
    while True:
        try:
            name, at, size = chunks.send(size_told) if size_told is not None else next(chunks)
        except StopIteration:
            break
        size_told = None
        if name == b"ds64":
            long_sizes = _long_sizes(file.read(min(size, 28)))
        elif name == b"fmt " and found is None:
            found = _wave_format(file.read(min(size, _LARGEST_FORMAT)), path)
        elif name == b"bext" and broadcast is None:
            broadcast = broadcast_extension(file.read(min(size, _LARGEST_BEXT)))
        elif name == b"data" and data is None:
            if size == 0xFFFFFFFF:
                size = size_told = long_sizes.get(b"data", size)
            if size in _NOT_KNOWN_YET and at < length and not _more_chunks(file, at, length, "<"):
                notes.append("its header does not say how long it is; read up to its end")
                size = size_told = length - at
            data = at, size
    return _of_numbers(path, length, container, found, data, False, broadcast, notes)


def _long_sizes(chunk: bytes) -> dict[bytes, int]:
    """The 64-bit sizes of an RF64 or BW64 file (EBU Tech 3306; ITU-R BS.2088, from memory)."""
    if len(chunk) < 16:
        return {}
    return {b"data": struct.unpack_from("<8xQ", chunk)[0]}


def _more_chunks(file: BinaryIO, at: int, length: int, order: str) -> bool:
    """Whether chunks, not samples, follow from here to the end."""
    file.seek(at)
    head = file.read(8)
    if len(head) < 8:
        return False
    name, size = struct.unpack(f"{order}4sI", head)
    return all(32 <= letter < 127 for letter in name) and at + 8 + int(size) <= length + 1


def _wave_format(chunk: bytes, path: str) -> _Format:
    if len(chunk) < 16:
        raise CaptureError(f"{path} has a header that is cut short; nothing can be read from it")
    tag, tracks, rate_hz, _, align, bits = struct.unpack_from("<HHIIHH", chunk)
    if tag == _EXTENSIBLE and len(chunk) >= 26:
        (tag,) = struct.unpack_from("<H", chunk, 24)
    width = align // tracks if tracks and align % tracks == 0 else -1
    codings = {
        (_PCM, 1): "PCM_U8",
        (_PCM, 2): "PCM_16",
        (_PCM, 3): "PCM_24",
        (_PCM, 4): "PCM_32",
        (_FLOAT, 4): "FLOAT",
        (_FLOAT, 8): "DOUBLE",
    }
    if tracks and ((tag, width) not in codings or not 0 < bits <= 8 * width):
        raise CaptureError(
            f"{path} holds no plain samples (format {tag}, {bits} bits, {align} bytes a frame);"
            " export it as PCM or float"
        )
    return _Format(codings.get((tag, width), ""), int(rate_hz), int(tracks))


def _aiff(file: BinaryIO, path: str, length: int, compressed: bool) -> Header:
    found: _Format | None = None
    data: tuple[int, int] | None = None
    declared, big_endian = 0, True
    for name, at, size in _chunks(file, 12, length, ">"):
        if name == b"COMM" and found is None:
            chunk = file.read(min(size, _LARGEST_FORMAT))
            found, declared, big_endian = _aiff_format(chunk, path, compressed)
        elif name == b"SSND" and data is None:
            head = file.read(8)
            if len(head) == 8:
                offset = struct.unpack(">I", head[:4])[0]
                data = at + 8 + offset, max(size - 8 - offset, 0)
    if found is not None and data is not None:
        data = data[0], declared * found.tracks * WIDTHS[found.coding]
    return _of_numbers(path, length, "AIFF", found, data, big_endian, None, [])


def _aiff_format(chunk: bytes, path: str, compressed: bool) -> tuple[_Format, int, bool]:
    """Format, frames and byte order (AIFF 1.3 and AIFF-C, from memory)."""
    if len(chunk) < (22 if compressed else 18):
        raise CaptureError(f"{path} has a header that is cut short; nothing can be read from it")
    tracks, frames, bits, power, mantissa = struct.unpack_from(">hIhHQ", chunk)
    exponent = (power & 0x7FFF) - 16383 - 63
    rate_hz = round(mantissa * 2.0**exponent) if -80 < exponent < 0 else 0
    kind = chunk[18:22] if compressed else b"NONE"
    width = (bits + 7) // 8
    whole = {1: "PCM_S8", 2: "PCM_16", 3: "PCM_24", 4: "PCM_32"}.get(width, "")
    coding = {
        b"NONE": whole,
        b"twos": whole,
        b"sowt": whole,
        b"in24": "PCM_24",
        b"in32": "PCM_32",
        b"fl32": "FLOAT",
        b"FL32": "FLOAT",
        b"fl64": "DOUBLE",
        b"FL64": "DOUBLE",
    }.get(kind, "")
    if not coding:
        raise CaptureError(
            f"{path} holds no plain samples (AIFF, {bits} bits); export it as PCM or float"
        )
    return _Format(coding, rate_hz, int(tracks)), int(frames), kind != b"sowt"


def _of_numbers(
    path: str,
    length: int,
    container: str,
    found: _Format | None,
    data: tuple[int, int] | None,
    big_endian: bool,
    broadcast: BroadcastExtension | None,
    notes: list[str],
) -> Header:
    if found is None:
        raise CaptureError(f"{path} does not say its format; its header is cut or damaged")
    if data is None:
        raise CaptureError(f"{path} holds no samples; its header is cut or damaged")
    at, size = data
    frame_bytes = max(found.tracks * WIDTHS.get(found.coding, 1), 1)
    declared = size // frame_bytes
    present = max(min(size, length - at), 0) // frame_bytes
    return Header(
        container,
        found.coding,
        found.rate_hz,
        found.tracks,
        present,
        declared,
        at,
        big_endian,
        broadcast,
        tuple(notes),
    )


def _flac(file: BinaryIO, path: str) -> Header:
    """The STREAMINFO block, which must come first (RFC 9639)."""
    file.seek(4)
    block = file.read(38)
    if len(block) < 38 or block[0] & 0x7F != 0:
        raise CaptureError(f"{path} has a header that is cut short; nothing can be read from it")
    packed = int.from_bytes(block[14:22], "big")
    rate_hz, tracks = packed >> 44, (packed >> 41 & 7) + 1
    frames = packed & (1 << 36) - 1
    return Header("FLAC", "FLAC", rate_hz, tracks, frames, frames, None, False, None)
