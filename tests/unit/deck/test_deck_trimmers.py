"""Trimmers: law, backlash, sense, ends."""

import numpy as np
import pytest

from fluxbench.deck._trimmers import TURNS, Bank


def bank(seed: int = 1, count: int = 4) -> Bank:
    return Bank("record_level", count, 8.0, np.random.default_rng(seed))


def finish(one: Bank) -> list[int]:
    moved: list[int] = []
    while one.turning:
        moved += one.advance(0.04)
    return moved


def test_values_can_be_set_and_read_back() -> None:
    one = bank()
    one.set_values(np.array([-7.9, -1.0, 0.5, 8.0]))
    assert one.values == pytest.approx(np.array([-7.9, -1.0, 0.5, 8.0]), abs=1e-9)


def test_beyond_the_range_it_stands_at_its_end() -> None:
    one = bank()
    one.set_values(np.full(4, 20.0))
    assert one.values == pytest.approx(np.full(4, 8.0))
    for track in range(4):
        one.turn(track, 3.0)
        one.turn(track, -50.0)
    finish(one)
    assert np.abs(one.values) == pytest.approx(np.full(4, 8.0), abs=0.05)


def test_only_the_turned_one_moves_one_way() -> None:
    one = bank()
    before = one.values.copy()
    one.turn(2, 1.5)
    path = []
    while one.turning:
        assert set(one.advance(0.04)) <= {2}
        path.append(one.values[2])
    steps = np.diff(path)
    assert np.all(steps >= 0.0) or np.all(steps <= 0.0)
    assert np.array_equal(np.delete(one.values, 2), np.delete(before, 2))


def test_backlash_swallows_the_first_of_a_turn_back() -> None:
    one = bank(count=1)
    one.turn(0, 1.0)
    finish(one)
    there = float(one.values[0])
    one.turn(0, -0.005)
    assert finish(one) == []
    assert one.values[0] == there
    one.turn(0, -0.2)
    assert finish(one)
    assert one.values[0] != there


def test_a_turn_takes_as_long_as_it_says() -> None:
    one = bank(count=1)
    seconds = one.turn(0, -0.7)
    one.advance(seconds - 0.2)
    assert one.turning
    one.advance(0.2)
    assert not one.turning


def test_most_of_a_kind_turn_the_same_way() -> None:
    for seed in range(5):
        sense = bank(seed, 24)._sense
        assert abs(sense.sum()) >= 12


def test_the_whole_range_is_twenty_turns() -> None:
    one = bank(count=1)
    one.turn(0, -TURNS)
    finish(one)
    low = float(one.values[0])
    one.turn(0, TURNS + 0.1)
    finish(one)
    assert abs(one.values[0] - low) == pytest.approx(16.0, abs=0.2)


def test_a_knob_tells_where_it_will_stand_and_stops_at_its_ends() -> None:
    one = bank(count=2)
    one.turn(1, 3.0)
    one.turn(1, -0.5)
    assert one.stands_turns.tolist() == pytest.approx([10.0, 12.5])
    finish(one)
    assert one.stands_turns.tolist() == pytest.approx([10.0, 12.5])
    one.turn(1, 50.0)
    one.turn(1, -1.0)
    assert one.stands_turns[1] == pytest.approx(TURNS - 1.0)
    finish(one)
    assert one.stands_turns[1] == pytest.approx(TURNS - 1.0)
