"""A tone that ends, one that never comes, and returns that clip: each has its own end."""

from types import SimpleNamespace

import numpy as np

from fluxbench.lineup._presence import (
    CLIPPING_POINTS,
    GONE_POINTS,
    MOST_TIMES_ASKED,
    WINDING_POINTS,
    Presence,
)

LIVE = np.array([True, True, False])


def point(level_db: float, *, clips: bool = False) -> SimpleNamespace:
    level = np.full((1, 3), np.nan if clips else level_db)
    return SimpleNamespace(
        lost=False, level_db=level, share=np.full((1, 3), 0.9), clipped=np.array([clips] * 3)
    )


def feed(presence: Presence, times: int, level_db: float, *, clips: bool = False) -> list[bool]:
    points = [point(level_db, clips=clips) for _ in range(times)]
    return [presence.take(p, LIVE, 1) is not None for p in points]  # type: ignore[arg-type]


def test_a_point_is_believed_when_three_before_it_and_one_after_are_good() -> None:
    assert feed(Presence(), 7, -10.0) == [False, False, False, False, True, True, True]


def test_another_tone_begins_anew() -> None:
    """The first point of the next section is cut short, whatever was there before."""
    presence = Presence()
    feed(presence, 9, -10.0)
    presence.forget()
    assert feed(presence, 5, -10.0) == [False, False, False, False, True]


def test_a_tone_may_be_long_in_coming_and_is_soon_gone() -> None:
    presence = Presence()
    feed(presence, WINDING_POINTS - 1, -90.0)
    assert not presence.gone
    feed(presence, 5, -10.0)
    feed(presence, GONE_POINTS, -90.0)
    assert presence.gone


def test_lost_frames_are_no_sign_that_a_tone_has_gone() -> None:
    presence = Presence()
    feed(presence, 9, -10.0)
    lost = point(np.nan)
    lost.lost = True
    assert [presence.take(lost, LIVE, 1) for _ in range(9 * GONE_POINTS)] == [
        None
    ] * 9 * GONE_POINTS  # type: ignore[arg-type]
    assert not presence.gone
    assert feed(presence, 5, -10.0) == [False, False, False, False, True]


def test_a_tone_is_not_asked_for_for_ever() -> None:
    presence = Presence()
    assert [presence.ask_again() for _ in range(MOST_TIMES_ASKED + 1)] == [
        *[True] * MOST_TIMES_ASKED,
        False,
    ]
    feed(presence, 1, -10.0)
    assert presence.ask_again()


def test_clipping_on_every_live_track_is_seen() -> None:
    presence = Presence()
    feed(presence, CLIPPING_POINTS - 1, 0.0, clips=True)
    assert not presence.clips
    feed(presence, 1, 0.0, clips=True)
    assert presence.clips
