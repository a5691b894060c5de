"""Pictures of cards as matplotlib writes them: what a page sends, and what nobody should."""

import base64
import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.image import imsave


def made_picture(sort: str = "jpeg", wide: int = 160, high: int = 120, **how: Any) -> bytes:
    """A board of `high` by `wide` pixels with two round trimmers; `how` goes to the writer."""
    y, x = np.mgrid[0:high, 0:wide]
    pixels = np.zeros((high, wide, 3), np.uint8)
    pixels[...] = (38, 84, 60)
    for at in (0.25, 0.75):
        round_ = (x - at * wide) ** 2 + (y - 0.5 * high) ** 2 < (0.12 * high) ** 2
        pixels[round_] = (206, 174, 92)
    made = io.BytesIO()
    imsave(made, pixels, format=sort, pil_kwargs=how)
    return made.getvalue()


def as_text(data: bytes) -> str:
    """Base64, as in the book."""
    return base64.b64encode(data).decode()


def hostile_pictures() -> Mapping[str, tuple[str, str]]:
    """Texts that are no picture to keep, by what they are, and words of the refusal."""
    jpeg, png = made_picture(), made_picture("png")
    frame = jpeg.index(b"\xff\xc0")
    huge = jpeg[: frame + 5] + b"\xff\xff\xff\xff" + jpeg[frame + 9 :]
    script = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
    return {
        "svg": (as_text(script), "neither JPEG nor PNG"),
        "html": (as_text(b"<!doctype html><script>alert(1)</script>"), "neither JPEG nor PNG"),
        "a moving picture of another sort": (as_text(b"GIF89a" + bytes(99)), "neither"),
        "nothing": ("", "neither JPEG nor PNG"),
        "no base64": ("data:image/png;base64,AAAA", "no base64"),
        "base64 with a gap": (as_text(png)[:40] + "\n" + as_text(png)[40:], "no base64"),
        "letters of elsewhere": ("\u00e9" * 8, "no base64"),
        "a cut jpeg": (as_text(jpeg[:-2]), "cut"),
        "half a jpeg": (as_text(jpeg[: len(jpeg) // 2]), "cut"),
        "a cut png": (as_text(png[:-12]), "cut"),
        "half a png": (as_text(png[: len(png) // 2]), "cut"),
        "a jpeg's first bytes": (as_text(jpeg[:2]), "cut"),
        "a png that was changed": (as_text(png[:60] + b"\x00" + png[61:]), "no sound PNG"),
        "a page behind a jpeg": (as_text(jpeg + script), "follows the end"),
        "a page behind a png": (as_text(png + script), "follows the end"),
        "a page that begins as a jpeg": (as_text(b"\xff\xd8" + script), "no sound JPEG"),
        "markers without end": (as_text(jpeg[:2] + b"\xff\xd0" * 50_000), "cut"),
        "65535 pixels each way": (as_text(huge), "65535 by 65535 pixels"),
        "a dot": (as_text(made_picture("png", 1, 1)), "1 by 1 pixels"),
        "too wide": (as_text(made_picture("png", 4097, 20)), "4097 by 20 pixels"),
        "too many bytes": (as_text(jpeg[:2] + bytes(184_319)), "bytes; 184320 at most"),
    }  # fmt: skip
