"""Writing a Broadcast Wave file: whole under its name, or not at all.

RIFF/WAVE with plain samples and a `bext` chunk (EBU Tech 3285); RF64 (EBU Tech 3306, from memory)
where 32 bits are too few for its length.
"""

import os
import secrets
import stat
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import CaptureError, MisuseError
from fluxbench.captures._bext import BroadcastExtension, packed

WORD_BITS = (16, 24)

_PCM, _EXTENSIBLE = 1, 0xFFFE
_PCM_GUID = struct.pack("<H", _PCM) + bytes.fromhex("000000001000800000aa00389b71")
_LONGEST = 0xFFFFFFFE
"""Of RIFF; the largest number itself stands for "see ds64"."""
_SEE_DS64 = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class WaveFormat:
    """What samples a Broadcast Wave file holds, and how many: known before the first is written."""

    rate_hz: int
    bits: int
    tracks: int
    frames: int

    @property
    def frame_bytes(self) -> int:
        """Bytes of a frame of all tracks."""
        return self.tracks * self.bits // 8

    @property
    def data_bytes(self) -> int:
        """Bytes of all samples."""
        return self.frames * self.frame_bytes


def write_wave(
    path: str | os.PathLike[str],
    form: WaveFormat,
    broadcast: BroadcastExtension,
    blocks: Iterable[NDArray[np.floating]],
    *,
    replace: bool = False,
) -> None:
    """Write blocks of shape (frames, tracks), full scale 1, as a Broadcast Wave file.

    Samples are rounded to the nearest step without dither. The file grows under another name in
    the same folder and gets its own when it is whole; if it cannot be written, nothing is left and
    `CaptureError` says why. `MisuseError` if the file is there already and not to be replaced.
    """
    if form.bits not in WORD_BITS:
        raise MisuseError(f"samples of {form.bits} bits cannot be written; use 16 or 24")
    target = Path(os.path.realpath(path))
    part = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        _check_place(path, target, replace)
        try:
            with part.open("xb") as file:
                file.write(wave_header(form, broadcast))
                written = 0
                for block in blocks:
                    written += file.write(_words(block, form.bits))
                if written != form.data_bytes:
                    raise CaptureError(f"{path}: {written} of {form.data_bytes} bytes came")
                file.write(b"\0" * (form.data_bytes % 2))
                file.flush()
                os.fsync(file.fileno())
            _give_name(part, target, replace)
        finally:
            part.unlink(missing_ok=True)
    except FileExistsError:
        raise _is_there(path) from None
    except OSError as error:
        raise CaptureError(
            f"{path} cannot be written: {error.strerror or error};"
            " no part of it is left, choose another place"
        ) from None


def wave_header(form: WaveFormat, broadcast: BroadcastExtension) -> bytes:
    """All that stands before the samples."""
    chunks = _chunk(b"bext", packed(broadcast)) + _chunk(b"fmt ", _format(form))
    data_bytes = form.data_bytes
    riff_bytes = 4 + len(chunks) + 8 + data_bytes + data_bytes % 2
    if riff_bytes <= _LONGEST:
        start = struct.pack("<4sI4s", b"RIFF", riff_bytes, b"WAVE")
        return start + chunks + struct.pack("<4sI", b"data", data_bytes)
    long_sizes = struct.pack("<QQQI", riff_bytes + 36, data_bytes, form.frames, 0)
    start = struct.pack("<4sI4s", b"RF64", _SEE_DS64, b"WAVE") + _chunk(b"ds64", long_sizes)
    return start + chunks + struct.pack("<4sI", b"data", _SEE_DS64)


def _format(form: WaveFormat) -> bytes:
    """Plain for one or two tracks; more are no loudspeakers, which only the extensible form says.

    The forms of the `fmt` chunk: from memory.
    """
    many = form.tracks > 2
    plain = struct.pack(
        "<HHIIHH",
        _EXTENSIBLE if many else _PCM,
        form.tracks,
        form.rate_hz,
        form.rate_hz * form.frame_bytes,
        form.frame_bytes,
        form.bits,
    )
    return plain + struct.pack("<HHI", 22, form.bits, 0) + _PCM_GUID if many else plain


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack("<4sI", name, len(data)) + data + b"\0" * (len(data) % 2)


def _words(block: NDArray[np.floating], bits: int) -> bytes:
    """Little-endian samples, rounded to the nearest step."""
    steps = 2.0 ** (bits - 1)
    rounded = np.rint(np.asarray(block, np.float64) * steps)
    words = np.clip(rounded, -steps, steps - 1.0).astype("<i4")
    if bits == 16:
        return words.astype("<i2").tobytes()
    return np.ascontiguousarray(words).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def _check_place(path: str | os.PathLike[str], target: Path, replace: bool) -> None:
    """Refuse before the first sample what would be refused after the last."""
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISREG(mode):
        raise MisuseError(f"{path} is no file that could be replaced; give another name")
    if not replace:
        raise _is_there(path)


def _give_name(part: Path, target: Path, replace: bool) -> None:
    """Put the whole file under its name, in one step."""
    if not replace:
        try:
            target.hardlink_to(part)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if target.exists():
                raise FileExistsError from None
        else:
            return
    part.replace(target)


def _is_there(path: str | os.PathLike[str]) -> MisuseError:
    return MisuseError(f"{path} is there already; give another name, or --replace")
