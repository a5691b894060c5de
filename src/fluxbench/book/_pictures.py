"""Pictures that people send: hostile until parsed. JPEG and PNG, from the first byte to the last.

Only the frame of a file is read, nothing is decoded: what it is, how large, and that it begins and
ends where it says (ISO/IEC 10918-1, annex B; the PNG specification, ISO/IEC 15948, clause 5).
"""

import base64
import binascii
import zlib
from dataclasses import dataclass

from fluxbench.base import MisuseError

LARGEST_BYTES = 184_320
"""So that it fits as text into a call, with what stands around it."""
SIDE_PX = range(16, 4097)
"""So that no browser needs more than 64 MiB to show it."""
PNG_BEGINS = b"\x89PNG\r\n\x1a\n"
_FRAMES = (0xC0, 0xC1, 0xC2)
"""Baseline, extended and progressive: what browsers show."""
_ALONE = (0x01, *range(0xD0, 0xD8))
"""Markers that nothing follows."""
RARE = "the picture is a JPEG of a rare sort; save it as a plain one"


@dataclass(frozen=True, slots=True)
class Image:
    """A picture's file as it was sent."""

    media_type: str
    width_px: int
    height_px: int
    data: bytes


def image_of(text: str) -> Image:
    """The picture in a base64 text; `MisuseError` for all that is no whole JPEG or PNG of a sane
    size."""
    try:
        data = base64.b64decode(text.encode("ascii"), validate=True)
    except (binascii.Error, UnicodeEncodeError):
        raise MisuseError("the picture is no base64") from None
    if len(data) > LARGEST_BYTES:
        raise MisuseError(f"the picture has {len(data)} bytes; {LARGEST_BYTES} at most")
    if data.startswith(PNG_BEGINS):
        media_type, read = "image/png", _png
    elif data.startswith(b"\xff\xd8"):
        media_type, read = "image/jpeg", _jpeg
    else:
        raise MisuseError("the picture is neither JPEG nor PNG")
    try:
        width_px, height_px = read(data)
    except IndexError:
        raise MisuseError("the picture was cut: its end is missing") from None
    if width_px not in SIDE_PX or height_px not in SIDE_PX:
        raise MisuseError(
            f"the picture is {width_px} by {height_px} pixels; "
            f"{SIDE_PX.start} to {SIDE_PX.stop - 1} each way"
        )
    return Image(media_type, width_px, height_px, data)


def _number(data: bytes, at: int, size: int) -> int:
    part = data[at : at + size]
    if len(part) < size:
        raise IndexError(at)
    return int.from_bytes(part, "big")


def _jpeg(data: bytes) -> tuple[int, int]:
    """Width and height; IndexError where the file ends too early."""
    size, scanned = None, False
    marker, at = _marker(data, 2)
    while marker != 0xD9:
        length = _number(data, at, 2)
        if length < 2 or marker in (0x00, 0xD8):
            raise MisuseError("the picture is no sound JPEG")
        if marker in _FRAMES:
            if size is not None or _number(data, at + 2, 1) != 8:
                raise MisuseError(RARE)
            size = _number(data, at + 5, 2), _number(data, at + 3, 2)
        at += length
        if marker == 0xDA:
            at, scanned = _after_scan(data, at), True
        marker, at = _marker(data, at)
    if size is None or not scanned:
        raise MisuseError(RARE)
    if at != len(data):
        raise MisuseError("something follows the end of the picture")
    return size


def _marker(data: bytes, at: int) -> tuple[int, int]:
    """The next marker that something follows, or the last one, and where it ends."""
    marker = _ALONE[0]
    while marker in _ALONE:
        if data[at] != 0xFF:
            raise MisuseError("the picture is no sound JPEG")
        while data[at] == 0xFF:
            at += 1
        marker = data[at]
        at += 1
    return marker, at


def _after_scan(data: bytes, at: int) -> int:
    """Where the marker stands that ends the picture's own data."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0:
            raise IndexError(len(data))
        if data[at + 1] not in (0x00, *range(0xD0, 0xD8)):
            return at
        at += 2


def _png(data: bytes) -> tuple[int, int]:
    """Width and height; IndexError where the file ends too early."""
    at, names = len(PNG_BEGINS), list[bytes]()
    while not names or names[-1] != b"IEND":
        length, name = _number(data, at, 4), data[at + 4 : at + 8]
        told = _number(data, at + 8 + length, 4)
        if zlib.crc32(data[at + 4 : at + 8 + length]) != told:
            raise MisuseError("the picture is no sound PNG")
        names.append(name)
        at += length + 12
    if names[0] != b"IHDR" or names.count(b"IHDR") != 1 or b"IDAT" not in names:
        raise MisuseError("the picture is no sound PNG")
    if b"acTL" in names:
        raise MisuseError("the picture moves; send one that stands still")
    if at != len(data):
        raise MisuseError("something follows the end of the picture")
    return _number(data, 16, 4), _number(data, 20, 4)
