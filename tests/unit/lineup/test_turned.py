"""A small turn of a stack against the wander of the tape; the wander is made here."""

import numpy as np
import pytest
import scipy.signal

from fluxbench.lineup._turned import spread_of_seconds, turned_at

WANDER_ARCMIN = 0.114
"""Rms, 0.2 to 2 Hz, as the practice deck has it on 2-inch tape; invented."""
LEAST_ARCMIN = 0.02


def wander(count: int, seed: int) -> np.ndarray:
    """Points 0.1 s apart."""
    band = scipy.signal.butter(1, [0.2, 2.0], "bandpass", fs=10.0, output="sos")
    white = np.random.default_rng(seed).standard_normal(count + 2000)
    made = scipy.signal.sosfilt(band, white)
    return np.asarray(WANDER_ARCMIN * made[2000:] / made.std())


def begin_of(points: np.ndarray) -> int:
    """Where the stretch begins that is believed, fed point by point."""
    begin = 0
    for count in range(1, len(points) + 1):
        at = turned_at(points[begin:count], spread_of_seconds(points[:count]), LEAST_ARCMIN)
        begin += at or 0
    return begin


@pytest.mark.parametrize("step_arcmin", [0.1, -0.15, 0.3])
def test_a_small_turn_is_seen_in_time(step_arcmin: float) -> None:
    off = []
    for seed in range(30):
        points = wander(130, seed)
        points[60:] += step_arcmin * np.minimum(np.arange(70) / 10.0, 1.0)
        off.append(points[begin_of(points) :].mean() - step_arcmin)
    # Six seconds of this wander alone have a mean with 0.009 of spread; half the turn is 0.05.
    assert np.sqrt(np.mean(np.square(off))) < 0.025


def test_wander_alone_begins_anew_a_few_times_a_minute_at_most() -> None:
    """That costs time, not truth."""
    begun_anew = [begin_of(wander(150, seed)) > 0 for seed in range(40)]
    assert np.mean(begun_anew) < 0.8


def test_the_spread_is_that_of_means_over_a_second() -> None:
    points = np.random.default_rng(1).standard_normal(4000)
    assert spread_of_seconds(points) == pytest.approx(10.0**-0.5, rel=0.1)
    points[2000:] += 100.0
    assert spread_of_seconds(points) == pytest.approx(10.0**-0.5, rel=0.1)
    assert spread_of_seconds(points[:40]) == float("inf")
