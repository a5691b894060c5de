"""Pictures in the book: real JPEG and PNG files pass, whatever else is refused in one line."""

import base64
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from fluxbench.base import MisuseError
from fluxbench.book import image_of
from tests.benches.made_pictures import as_text, hostile_pictures, made_picture

HOSTILE = hostile_pictures()
SOUND = made_picture()


@pytest.mark.parametrize(
    ("sort", "how"),
    [
        ("jpeg", {}),
        ("jpeg", {"progressive": True}),
        ("jpeg", {"quality": 60, "restart_marker_blocks": 2}),
        ("jpeg", {"comment": b"a comment"}),
        ("png", {}),
        ("png", {"compress_level": 0}),
    ],
)
def test_a_real_picture_is_kept_byte_for_byte(sort: str, how: dict[str, object]) -> None:
    """Written by matplotlib (Pillow), which also reads the size that ours has to be."""
    data = made_picture(sort, 200, 90, **how)
    image = image_of(as_text(data))
    assert (image.media_type, image.data) == (f"image/{sort}", data)
    high, wide = imread(io.BytesIO(data), format=sort).shape[:2]
    assert (image.width_px, image.height_px) == (wide, high) == (200, 90)


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_no_picture_is_one_line(what: str) -> None:
    text, said = HOSTILE[what]
    with pytest.raises(MisuseError, match=said) as refused:
        image_of(text)
    assert "\n" not in str(refused.value)


@given(st.binary(max_size=400), st.integers(0, len(SOUND)))
def test_no_bytes_do_more_than_be_refused(noise: bytes, at: int) -> None:
    for data in (noise, b"\xff\xd8" + noise, SOUND[:at] + noise, b"\x89PNG\r\n\x1a\n" + noise):
        try:
            image = image_of(base64.b64encode(data).decode())
        except MisuseError:
            continue
        assert image.data == data
