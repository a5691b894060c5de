"""Readings of many tracks: what contact does to all of them, and what a hand does to one."""

import numpy as np
import pytest

from fluxbench.lineup._neighbours import Neighbours
from fluxbench.lineup._readings import Readings

TRACKS = 9
SHARED = 0.4


def contact_db(points: int, seed: int, rms_db: float = 0.15) -> np.ndarray:
    """White contact (points, tracks), its parts shared with the tracks beside (made up here)."""
    own = np.random.default_rng(seed).standard_normal((points, TRACKS + 2))
    mixed = own[:, 1:-1] + SHARED * (own[:, :-2] + own[:, 2:])
    return rms_db * mixed / np.sqrt(1.0 + 2.0 * SHARED**2)


def best_share(track: int, beside: list[int]) -> np.ndarray:
    """Closed form: normal equations with the covariances of the moving average above."""
    apart = np.abs(np.subtract.outer(np.arange(TRACKS), np.arange(TRACKS)))
    covariance = np.select(
        [apart == 0, apart == 1, apart == 2], [1.0 + 2 * SHARED**2, 2 * SHARED, SHARED**2], 0.0
    )
    return np.linalg.solve(covariance[np.ix_(beside, beside)], covariance[beside, track])


def test_neighbours_learn_the_best_linear_guess() -> None:
    neighbours = Neighbours(TRACKS)
    for row in contact_db(4000, 1):
        neighbours.learn(row)
    beside = [1, 2, 3, 5, 6, 7]
    assert neighbours.share[4, beside] == pytest.approx(best_share(4, beside), abs=0.12)
    assert neighbours.share[4, 4] == 0.0
    assert not neighbours.share[4, [0, 8]].any()


def test_nothing_is_made_up_where_tracks_are_strangers() -> None:
    neighbours = Neighbours(TRACKS)
    for row in np.random.default_rng(2).standard_normal((1500, TRACKS)) * 0.15:
        neighbours.learn(row)
    assert np.abs(neighbours.share).max() < 0.15


def test_a_mean_is_nearer_with_the_neighbours_than_without() -> None:
    level_db = -20.0 + contact_db(700, 3)
    readings = Readings(TRACKS, 1.5, 1.5)
    apart, plain = [], []
    for i, row in enumerate(level_db):
        readings.add(row, 4 if i >= 200 else None)
        if i >= 300 and i % 15 == 0 and readings.age_points()[4] >= 15:
            apart.append(readings.mean()[4] + 20.0)
            plain.append(level_db[i - 14 : i + 1, 4].mean() + 20.0)
    assert len(apart) > 20
    assert np.std(apart) < 0.7 * np.std(plain)


@pytest.mark.parametrize("rms_db", [0.004, 0.05])
def test_after_a_turn_the_mean_is_of_what_stands_now(rms_db: float) -> None:
    """0.6 dB at half a decibel a second, as hands turn; 0.7 s later the mean shows it."""
    level_db = contact_db(200, 4, rms_db)
    level_db[100:, 4] += np.clip(0.05 * np.arange(100), 0.0, 0.6)
    readings = Readings(TRACKS, 1.5, 8.0)
    for i, row in enumerate(level_db[:120]):
        readings.add(row, 4 if i >= 60 else None)
    assert readings.mean()[4] == pytest.approx(0.6, abs=0.01 + 1.5 * rms_db)
    assert np.abs(np.delete(readings.mean(), 4)).max() < 0.01 + rms_db
    for row in level_db[120:]:
        readings.add(row, 4)
    assert readings.mean()[4] == pytest.approx(0.6, abs=0.01 + 0.5 * rms_db)
    assert readings.steady()[4]


def test_a_drop_out_is_no_movement_and_a_small_step_is_one() -> None:
    readings = Readings(TRACKS, 1.5, 8.0)
    for row in contact_db(80, 5, 0.01):
        readings.add(row)
    for fallen_db in (0.0, -4.0, -4.0, 0.0, 0.0, 0.0):
        row = np.zeros(TRACKS)
        row[4] = fallen_db
        readings.add(row)
    assert readings.age_points()[4] == 80  # the longest it looks back
    assert readings.mean()[4] == pytest.approx(0.0, abs=0.01)
    for row in contact_db(40, 6, 0.01):
        row[4] += 0.05
        readings.add(row, 4)
    assert readings.age_points()[4] <= 45
    assert readings.mean()[4] == pytest.approx(0.05, abs=0.01)
    assert np.abs(np.delete(readings.mean(), 4)).max() < 0.01


def test_ten_minutes_of_nobody_turning_keep_the_mean() -> None:
    readings = Readings(TRACKS, 1.5, 8.0)
    lost = 0
    for row in contact_db(6000, 7):
        readings.add(row)
        lost += int((readings.age_points() < 15).sum())
    assert lost < 0.02 * 6000 * TRACKS


def test_the_error_says_how_far_means_scatter() -> None:
    """Standard error of a mean of white noise: spread / sqrt(count)."""
    errors, means = [], []
    for seed in range(40):
        readings = Readings(TRACKS, 1.5, 8.0)
        rows = np.random.default_rng(100 + seed).standard_normal((60, TRACKS)) * 0.1
        for row in rows:
            readings.add(row)
        errors += [readings.error(t) for t in range(TRACKS) if readings.age_points()[t] >= 60]
        means += [readings.mean()[t] for t in range(TRACKS) if readings.age_points()[t] >= 60]
    assert len(means) > 200
    assert np.std(means) == pytest.approx(0.1 / np.sqrt(60), rel=0.25)
    assert np.mean(errors) == pytest.approx(np.std(means), rel=0.35)


def test_a_drop_out_among_the_first_points_does_not_stand_for_the_spread() -> None:
    """While a track is in hand nothing more is learned of it: it was doubted for a minute."""
    noise = np.random.default_rng(1)
    readings = Readings(4, 1.0, 6.0)
    for n in range(31):
        levels_db = 0.03 * noise.standard_normal(4)
        levels_db[0] -= 20.0 * (6 <= n < 9)
        readings.add(levels_db, hand=0 if n >= 18 else None)
    # White noise of 0.03 dB over 2 s at the most: 0.03/sqrt(20) = 0.007 dB.
    assert readings.errors()[1:].max() < 0.012
    assert readings.errors()[0] < 0.02
