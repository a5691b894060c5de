"""What the bench makes of decks that show little, or nothing."""

import time
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import pytest

from fluxbench.base import DeckError
from fluxbench.session._deck_eye import DeckEye
from fluxbench.session._tape import tape_shown

WHOLE = {"transport": "play", "tape": "stock", "position_s": 12.0, "speed_ips": 15.0}


def seen_by(show: Any) -> Mapping[str, Any] | None:
    """What is seen of a deck after a few looks."""
    died: list[str] = []
    looks: list[float] = []

    def look() -> Any:
        looks.append(time.monotonic())
        return show()

    eye = DeckEye(SimpleNamespace(state=look), died.append)  # type: ignore[arg-type]
    eye.start()
    end_s = time.monotonic() + 60.0
    while len(looks) < 2 and not died:
        assert time.monotonic() < end_s, "it does not look"
        time.sleep(0.01)
    eye.close()
    assert died == []
    return eye.seen


def no_answer() -> Mapping[str, Any]:
    raise DeckError("nobody there")


@pytest.mark.parametrize("lacking", sorted(WHOLE))
def test_half_a_display_is_none(lacking: str) -> None:
    assert seen_by(lambda: {k: v for k, v in WHOLE.items() if k != lacking}) is None


def test_a_whole_one_is_shown_and_none_is_nothing() -> None:
    seen = seen_by(lambda: WHOLE)
    assert tape_shown(seen, None, None, 0.0)["position_s"] == 12.0
    assert tape_shown(seen_by(no_answer), None, None, 0.0)["position_s"] is None
