"""Callbacks as an interface makes them, by arithmetic: when each comes, with how many frames."""

import random

import pytest

from fluxbench.links._pace import OFF, PIECE_S, PIECES, Pace

PERIOD = 1024


def first_told_s(
    told_hz: int, real_hz: float, seed: int, *, lost_every_s: float = 0.0, stalls: int = 0
) -> tuple[float, float] | None:
    """When it is told within a minute, and the rate that it tells."""
    chance = random.Random(seed)
    pace, frame = Pace(told_hz), 0
    stalled_s = sorted(chance.uniform(0.0, 60.0) for _ in range(stalls))
    late_until_s = next_lost_s = 0.0
    while (due_s := frame / real_hz) < 60.0:
        frame += PERIOD
        while stalled_s and stalled_s[0] < due_s:
            late_until_s = max(late_until_s, stalled_s.pop(0) + chance.uniform(0.1, 0.9))
        seen_s = max(due_s, late_until_s) + chance.uniform(0.0, 0.02)
        lost = lost_every_s > 0.0 and seen_s >= next_lost_s
        if lost:
            next_lost_s = seen_s + lost_every_s
        if (pace_hz := pace.see(frame, seen_s, lost=lost)) is not None:
            return seen_s, pace_hz
    return None


@pytest.mark.parametrize("seed", range(50))
def test_a_rate_that_was_changed_is_told_within_seconds(seed: int) -> None:
    told_hz, real_hz = random.Random(seed).sample((44_100, 48_000, 88_200, 96_000, 192_000), 2)
    found = first_told_s(told_hz, real_hz, seed, stalls=3)
    assert found is not None
    assert found[0] < PIECE_S * PIECES + 10.0
    assert found[1] == pytest.approx(real_hz, rel=0.05)


@pytest.mark.parametrize("seed", range(50))
def test_its_own_rate_is_not_though_the_machine_stalls(seed: int) -> None:
    """200 ppm off, the worst of two clocks; and a tenth of a second to 0.9 s late six times."""
    assert first_told_s(48_000, 48_000 * (1.0 + 2e-4), seed, stalls=6) is None
    assert first_told_s(96_000, 96_000 * (1.0 - 2e-4), seed, stalls=6) is None


def test_where_frames_are_lost_all_the_time_nothing_is_known() -> None:
    assert first_told_s(48_000, 44_100, 1, lost_every_s=0.5) is None


def test_the_limit_lies_between_any_clock_and_the_nearest_other_rate() -> None:
    """AES11-style clocks are within 50 ppm (from memory); 44.1 and 48 kHz are 8.1 % apart."""
    assert 100 * 5e-5 < OFF < 0.5 * (48_000 - 44_100) / 48_000
