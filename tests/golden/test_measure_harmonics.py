"""Harmonics of known amplitude, and those of a cubic and of a clipped sine in closed form."""

import numpy as np
import pytest
from scipy import signal

from fluxbench.base import Validity
from fluxbench.measure._harmonics import harmonics

RATE_HZ = 48_000


def angle(frequency_hz: float, duration_s: float = 2.0, flutter: float = 0.0) -> np.ndarray:
    time_s = np.arange(round(RATE_HZ * duration_s)) / RATE_HZ
    warp = flutter / (2 * np.pi * 5.2) * np.sin(2 * np.pi * 5.2 * time_s)
    warp += flutter / (2 * np.pi * 27) * np.sin(2 * np.pi * 27 * time_s)
    return 2 * np.pi * frequency_hz * (time_s + warp)


@pytest.mark.parametrize("flutter", [0.0, 5e-4])
@pytest.mark.parametrize("frequency_hz", [105.0, 1_005.0, 3_155.0])
def test_all_four_orders(frequency_hz: float, flutter: float) -> None:
    percents = (0.5, 1.0, 0.05, 0.2)
    turning = angle(frequency_hz, flutter=flutter)
    wave = 0.1 * np.sin(turning) + 1e-6 * np.random.default_rng(1).standard_normal(len(turning))
    for order, percent in zip((2, 3, 4, 5), percents, strict=True):
        wave += 0.1 * percent / 100 * np.sin(order * turning + order)
    reading = harmonics(wave[:, None].astype(np.float32), RATE_HZ, frequency_hz)
    assert reading.percent[:, 0] == pytest.approx(percents, rel=0.005)
    # Root of the sum of squares: sqrt(0.25 + 1 + 0.0025 + 0.04).
    assert reading.total_percent[0] == pytest.approx(1.1369, rel=0.005)
    assert all(v == (Validity.OK,) for v in reading.validity)


def test_the_third_harmonic_of_a_cubic() -> None:
    # Trigonometry: sin³ = (3 sin - sin 3) / 4, so x - c x³ with x = a sin has a third harmonic of
    # (c a² / 4) / (1 - 3 c a² / 4).
    sine = 0.2 * np.sin(angle(1_005.0))
    wave = sine - 0.5 * sine**3 + 1e-6 * np.random.default_rng(2).standard_normal(len(sine))
    reading = harmonics(wave[:, None], RATE_HZ, 1_005.0)
    third = 0.5 * 0.04 / 4 / (1 - 3 * 0.5 * 0.04 / 4)
    assert reading.percent[1, 0] == pytest.approx(100 * third, rel=1e-3)
    assert reading.validity[0] == (Validity.NO_SIGNAL,)


def test_agrees_with_a_flat_top_spectrum() -> None:
    # Second opinion: scipy.signal.periodogram of a tanh, its own spectrum read line by line.
    wave = np.tanh(1.5 * 0.4 * np.sin(angle(1_005.0)))
    wave *= 0.5
    wave += 1e-6 * np.random.default_rng(3).standard_normal(len(wave))
    reading = harmonics(wave[:, None], RATE_HZ, 1_005.0)
    frequency_hz, power = signal.periodogram(wave, RATE_HZ, window="flattop", scaling="spectrum")
    lines = [power[np.argmin(np.abs(frequency_hz - n * 1_005.0))] for n in (1, 3, 5)]
    theirs = 100 * np.sqrt(np.array(lines[1:]) / lines[0])
    assert reading.percent[[1, 3], 0] == pytest.approx(theirs, rel=2e-3)


def test_below_the_noise_there_is_no_number() -> None:
    # 0.001 % of -20 dBFS is -120 dBFS; the noise in ±22 Hz of 24 kHz at -70 dBFS is -97 dBFS.
    sine = 0.1 * np.sin(angle(1_005.0)) + 1e-6 * np.sin(3 * angle(1_005.0))
    random = np.random.default_rng(4)
    noise = 10 ** (-70 / 20) / np.sqrt(2) * random.standard_normal((len(sine), 6))
    reading = harmonics(sine[:, None] + noise, RATE_HZ, 1_005.0)
    assert np.isnan(reading.percent).all()
    assert np.isnan(reading.total_percent).all()
    assert {v for row in reading.validity for v in row} == {Validity.NO_SIGNAL}


def test_the_stated_error_is_that_of_repeated_takes() -> None:
    random = np.random.default_rng(5)
    turning = angle(1_005.0, 1.0)
    wave = 0.1 * np.sin(turning) + 2e-4 * np.sin(3 * turning)
    takes = wave[:, None] + 1e-3 / np.sqrt(2) * random.standard_normal((len(wave), 100))
    reading = harmonics(takes, RATE_HZ, 1_005.0)
    assert np.mean(reading.percent[1]) == pytest.approx(0.2, rel=0.02)
    stated = np.sqrt(np.mean(reading.standard_error_percent[1] ** 2))
    assert 0.75 < stated / np.std(reading.percent[1]) < 1.3


def test_above_half_the_rate_and_on_a_dead_track_nothing_is_told() -> None:
    wave = 0.1 * np.sin(angle(9_995.0)) + 1e-3 * np.sin(2 * angle(9_995.0))
    reading = harmonics(np.stack([wave, 0 * wave], axis=1), RATE_HZ, 9_995.0)
    assert reading.percent[0, 0] == pytest.approx(1.0, rel=1e-3)
    assert np.isnan(reading.percent[1:, 0]).all()
    assert np.isnan(reading.percent[:, 1]).all()
    assert [row[1] for row in reading.validity] == [Validity.NO_SIGNAL] * 4
