"""The low end of a track from six long waves at once: closed forms, and what spoils it."""

from types import SimpleNamespace

import numpy as np
import pytest

from fluxbench.base import Cables
from fluxbench.lineup._low import LEAST_LEFT, ODD_HZ, WINDOW_S, Comb, LowEnd, low_signal

RATE_HZ = 1200.0


def six_waves(level_dbfs: float, waves_hz: tuple[float, ...] = ODD_HZ) -> np.ndarray:
    """Sum of six sines, each at this level: a full-scale sine is 0 dBFS."""
    t = np.arange(round(WINDOW_S * RATE_HZ)) / RATE_HZ
    waves = [np.sin(2 * np.pi * hz * t + 0.7 * i) for i, hz in enumerate(waves_hz)]
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


@pytest.mark.parametrize("mult", [None, 0])
def test_a_mult_takes_the_same_waves_to_odd_and_even_tracks(mult: int | None) -> None:
    cables = Cables(2, (0, 1), (0, 1) if mult is None else (None,), mult)
    bench = SimpleNamespace(plan=SimpleNamespace(tracks=2, zero_dbfs=-12.0), cables=cables)
    signal = low_signal(bench)  # type: ignore[arg-type]
    sent = [tuple(tone.frequency_hz for tone in each.tones) for each in signal.signals]
    assert (sent[0] == sent[1]) is (mult is not None)
    meter = LowEnd(bench)  # type: ignore[arg-type]
    waves = np.concatenate([six_waves(-32.0, tones[1:]) for tones in sent], axis=1)
    tenth = len(waves) // 10
    for at in range(0, len(waves), tenth):
        envelope = np.stack([0.0 * waves, waves], axis=1)[at : at + tenth]
        level_db = np.full((1, 2), -20.0)
        point = SimpleNamespace(lost=False, envelope=envelope, level_db=level_db)
        off_db = meter.read(point)  # type: ignore[arg-type]
    assert off_db == pytest.approx([0.0, 0.0], abs=0.01)
