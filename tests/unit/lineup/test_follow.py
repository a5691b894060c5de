"""Nobody turns: no grab. A hand turns: the right track."""

import numpy as np

from fluxbench.lineup import Follower


def wander(rng: np.random.Generator, windows: int, tracks: int) -> np.ndarray:
    """Level of a short wave: slow contact wander, partly shared, plus fast fluctuation (dB)."""
    slow = np.cumsum(rng.normal(0.0, 0.01, (windows, tracks + 2)), axis=0)
    slow -= 0.02 * np.cumsum(slow, axis=0) / np.arange(1, windows + 1)[:, np.newaxis]
    shared = slow[:, 1:-1] + 0.4 * (slow[:, :-2] + slow[:, 2:])
    rolling = shared - np.array([np.convolve(c, np.ones(60) / 60, "same") for c in shared.T]).T
    return rolling + rng.normal(0.0, 0.08, (windows, tracks))


def test_thirty_minutes_of_nobody_turning_is_not_one_grab() -> None:
    rng = np.random.default_rng(5)
    windows = int(30 * 60 / Follower.WINDOW_S)
    levels = wander(rng, windows, 24)
    for _ in range(60):  # drop-outs: up to 20 dB over one window, now and then two
        at, track = rng.integers(0, windows - 2), rng.integers(0, 24)
        levels[at : at + rng.integers(1, 3), track] -= rng.uniform(1.0, 20.0)
    levels += rng.normal(0.0, 0.3, (windows, 1))  # what all tracks do together
    follower = Follower(24)
    assert [follower.see(row) for row in levels] == [None] * windows


def test_a_hand_takes_the_focus_within_two_seconds() -> None:
    rng = np.random.default_rng(6)
    follower = Follower(24)
    levels = wander(rng, 200, 24)
    levels[150:, 7] += 1.2
    grabs = [(i, t) for i, row in enumerate(levels) if (t := follower.see(row)) is not None]
    assert [track for _, track in grabs] == [7]
    assert 150 <= grabs[0][0] <= 150 + round(2.0 / Follower.WINDOW_S)


def test_four_tracks_moving_one_does_not_accuse_the_others() -> None:
    rng = np.random.default_rng(7)
    follower = Follower(4)
    levels = rng.normal(0.0, 0.02, (120, 4))
    levels[80:, 3] -= 3.0
    assert {t for row in levels if (t := follower.see(row)) is not None} == {3}
