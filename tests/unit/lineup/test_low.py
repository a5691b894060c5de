"""The low end of a track from six long waves at once: closed forms, and what spoils it."""

import numpy as np
import pytest

from fluxbench.lineup._low import LEAST_LEFT, ODD_HZ, WINDOW_S, Comb

RATE_HZ = 1200.0


def six_waves(level_dbfs: float) -> np.ndarray:
    """Sum of six sines, each at this level: a full-scale sine is 0 dBFS."""
    t = np.arange(round(WINDOW_S * RATE_HZ)) / RATE_HZ
    waves = [np.sin(2 * np.pi * hz * t + 0.7 * i) for i, hz in enumerate(ODD_HZ)]
    return np.asarray(10.0 ** (level_dbfs / 20.0) * np.sum(waves, axis=0))[:, np.newaxis]


@pytest.mark.parametrize("level_dbfs", [-36.0, -20.0])
def test_equal_waves_read_their_level(level_dbfs: float) -> None:
    mean_db, left = Comb(ODD_HZ).mean_db(six_waves(level_dbfs))
    assert mean_db[0] == pytest.approx(level_dbfs, abs=0.002)
    assert left[0] < 1e-6


@pytest.mark.parametrize("hum_hz", [50.0, 60.0, 100.0, 120.0])
def test_hum_20_db_below_moves_it_by_hundredths(hum_hz: float) -> None:
    t = np.arange(round(WINDOW_S * RATE_HZ)) / RATE_HZ
    hum = 10.0 ** (-40.0 / 20.0) * np.sin(2 * np.pi * hum_hz * t)[:, np.newaxis]
    mean_db, _ = Comb(ODD_HZ).mean_db(six_waves(-20.0) + hum)
    assert mean_db[0] == pytest.approx(-20.0, abs=0.05)


def test_a_hole_of_ten_milliseconds_shows_in_what_is_left() -> None:
    signal = six_waves(-20.0)
    middle = len(signal) // 2
    signal[middle : middle + round(0.0107 * RATE_HZ)] = 0.0
    _, left = Comb(ODD_HZ).mean_db(signal)
    assert left[0] > LEAST_LEFT
