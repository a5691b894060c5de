"""Which channels a line-up uses, by what the interface has and what was wished."""

from typing import Any

import pytest

from fluxbench.base import MisuseError
from fluxbench.session._channels import channels_of, with_channels
from fluxbench.session._pages import plan_of
from tests.decks.figures_deck import FiguresDeck


def begun(kind: str, inputs: int | None, outputs: int | None, **shown: Any) -> Any:
    """What a deck of eight tracks begins with on such an interface."""
    link = {"name": "x", "inputs": inputs, "outputs": outputs}
    return with_channels(kind, {"stock": {"tracks": 8}, **shown}, link)


@pytest.mark.parametrize(("inputs", "outputs"), [(8, 8), (24, 16), (None, None)])
def test_enough_channels_are_used_in_their_order(inputs: Any, outputs: Any) -> None:
    assert channels_of(begun("verification", inputs, outputs)) is None


def test_fewer_channels_are_all_used() -> None:
    some = channels_of(begun("line-up", 4, 2))
    assert some is not None
    assert (some.inputs, some.outputs) == ((0, 1, 2, 3), (0, 1))


def test_any_mapping() -> None:
    wished = {"inputs": [9, 10, 3, 4, 5, 6, 7, 8], "outputs": [1, 2, 3, 4, 5, 6, 7, 16]}
    some = channels_of(begun("check", 16, 16, channels=wished))
    assert some is not None
    assert some.cables(8, range(8)).returns[8:] == (0, 1)
    assert some.cables(8, range(8)).sends[15] == 7


@pytest.mark.parametrize(
    ("kind", "inputs", "outputs", "wished", "line"),
    [
        ("line-up", 8, 8, {"inputs": [9], "outputs": [1]}, "there is no input 9"),
        ("line-up", 8, 2, {"inputs": [1, 2], "outputs": [3, 4]}, "there is no output 4"),
        ("line-up", 8, 8, {"inputs": [1, 1], "outputs": [1]}, "each input once"),
        ("check", 4, 4, None, "takes all 8 tracks at once"),
        ("tones", 8, 1, None, "takes all 8 tracks at once"),
    ],
)
def test_what_cannot_be_is_one_line(
    kind: str, inputs: int, outputs: int, wished: Any, line: str
) -> None:
    with pytest.raises(MisuseError, match=line):
        begun(kind, inputs, outputs, **({} if wished is None else {"channels": wished}))


def test_tracks_that_are_not_used() -> None:
    deck = FiguresDeck(tracks=3)
    shown = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    plan = plan_of({**shown, "unused": [3, 1]})
    assert plan.unused == {0, 2}
    assert plan.remarks[-1] == "not used, and left as they are: tracks 1, 3"
    for wrong in ([4], [1, 2, 3]):
        with pytest.raises(MisuseError, match="tracks 1 to 3"):
            plan_of({**shown, "unused": wrong})
