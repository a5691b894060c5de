"""A walk along the tracks that are due, on made-up levels: when the hand goes on and returns."""

from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np

from fluxbench.lineup._adjust import SEEMS_POINTS, Job, Round
from fluxbench.lineup._steps import Steps
from fluxbench.trade import LevelTolerance

BAND = LevelTolerance(0.12, 0.25, 0.5)
TRACKS = 4
WINDOW_S = 3.0
NOISE_DB = 0.01


class FakeBench:
    """What `Round` needs of a bench; a point is the levels (tracks,) of 0.1 s."""

    def __init__(self) -> None:
        self.plan = SimpleNamespace(tracks=TRACKS)
        self.return_lag_s = 0.12
        self.live = np.ones(TRACKS, bool)
        self.wanted: int | None = None
        self.board = None
        self.steps = Steps()
        self.advice: Any = None
        self.said: list[tuple[str, int]] = []

    def point(self) -> Iterator[Any]:
        return (yield)

    def write(self, what: str, **facts: Any) -> None:
        self.said.append((what, facts["track"]))

    def advise(self, advice: Any, *_count: int) -> None:
        self.advice = advice

    def passed_over(self, _trimmer: str, _track: int) -> bool:
        return False


def walk(level_db: Callable[[int], np.ndarray], points: int) -> tuple[FakeBench, list[int]]:
    """Have tracks 1 and 2 trimmed to 0 dB; the bench, and the point at which each thing was said.

    `level_db` gives the levels (tracks,) of a point; 60 points at what it gives for -1 come first.
    """
    bench = FakeBench()
    job = Job("record_high", BAND, WINDOW_S, lambda point: point)
    walked = Round(bench, job, np.zeros(TRACKS))  # type: ignore[arg-type]
    rng = np.random.default_rng(1)
    for _ in range(60):
        walked.readings.add(level_db(-1) + NOISE_DB * rng.standard_normal(TRACKS))
    run = walked.trim(np.array([True, True, False, False]))
    next(run)
    when: list[int] = []
    for n in range(points):
        try:
            run.send(level_db(n) + NOISE_DB * rng.standard_normal(TRACKS))
        except StopIteration:
            return bench, [*when, *[n] * (len(bench.said) - len(when))]
        when += [n] * (len(bench.said) - len(when))
    return bench, when


def test_the_hand_goes_on_when_a_track_seems_in_and_it_is_judged_later() -> None:
    """Closed form: the hand goes on as soon as enough points stand, the verdict takes a window."""

    def level_db(n: int) -> np.ndarray:
        return np.array([-1.0 if n < 20 else 0.0, -1.0 if n < 60 else 0.0, 0.0, 0.0])

    bench, when = walk(level_db, 200)
    assert bench.said == [("focus", 1), ("focus", 2), ("taken", 1), ("taken", 2)]
    assert 20 + SEEMS_POINTS - 1 <= when[1] <= 20 + SEEMS_POINTS + 4
    assert 20 + 10 * WINDOW_S - 1 <= when[2] <= 20 + 10 * WINDOW_S + 4
    assert when[3] <= 60 + 10 * WINDOW_S + 4


def test_a_track_that_only_seemed_in_is_offered_again() -> None:
    def level_db(n: int) -> np.ndarray:
        first = -1.0 if n < 20 else 0.0 if n < 32 else -0.6 if n < 90 else 0.0
        return np.array([first, -1.0 if n < 50 else 0.0, 0.0, 0.0])

    bench, _ = walk(level_db, 300)
    assert [track for what, track in bench.said if what == "focus"] == [1, 2, 1]
    assert sorted(track for what, track in bench.said if what == "taken") == [1, 2]


def test_a_level_on_its_way_through_the_band_holds_nobody_up() -> None:
    """A hand that turns past the target at 0.5 dB a second has not arrived."""

    def level_db(n: int) -> np.ndarray:
        first = float(np.clip(-1.0 + 0.05 * (n - 20), -1.0, 1.0))
        return np.array([first, -1.0, 0.0, 0.0])

    bench, _ = walk(level_db, 120)
    assert bench.said == [("focus", 1)]
    assert bench.advice.way == -1
