"""Multitones of known levels, with flutter, noise and a speed that is a little off."""

import numpy as np
import pytest
from scipy import signal

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._response import multitone_levels

RATE_HZ = 48_000
TONES_HZ = (35, 45, 55, 65, 85, 105, 125, 165, 255, 405, 635, 1005, 2505, 6305, 10005, 16005)


def multitone(
    random: np.random.Generator, levels_dbfs: np.ndarray, speed: float, noise_dbfs: float
) -> np.ndarray:
    """Two seconds on a fluttering time scale, exact."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    tape_s = time_s.copy()
    for peak, rate in ((2e-4, 0.7), (2e-4, 5.2), (2e-4, 27.0), (2e-4, 95.0)):
        tape_s += (
            peak / (2 * np.pi * rate) * np.sin(2 * np.pi * rate * time_s + random.uniform(0, 6))
        )
    wave = 10 ** (noise_dbfs / 20) / np.sqrt(2) * random.standard_normal(len(time_s))
    for frequency_hz, level_dbfs in zip(TONES_HZ, levels_dbfs, strict=True):
        angle = 2 * np.pi * speed * frequency_hz * tape_s + random.uniform(0, 2 * np.pi)
        wave += 10 ** (level_dbfs / 20) * np.sin(angle)
    return wave


@pytest.mark.parametrize("speed", [1.0, 0.99, 1.012])
def test_every_tone_on_every_track(speed: float) -> None:
    random = np.random.default_rng(1)
    levels_dbfs = -40.0 + random.uniform(-3, 3, (len(TONES_HZ), 2))
    tracks = np.stack([multitone(random, lv, speed, -65.0) for lv in levels_dbfs.T], axis=1)
    reading = multitone_levels(tracks.astype(np.float32), RATE_HZ, TONES_HZ)
    assert reading.speed_ratio == pytest.approx(speed, abs=2e-4)
    assert {v for row in reading.validity for v in row} == {Validity.OK}
    errors_db = reading.level_dbfs - levels_dbfs
    assert np.sqrt(np.mean(errors_db**2)) < 0.01
    assert np.max(np.abs(errors_db)) < 0.03
    pulls = errors_db / reading.standard_error_db
    assert 0.4 < np.sqrt(np.mean(pulls**2)) < 2.0


def test_agrees_with_a_flat_top_spectrum_where_nothing_flutters() -> None:
    # Second opinion: scipy.signal.periodogram, flat-top window over 4 s.
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    wave = np.zeros_like(time_s)
    for index, frequency_hz in enumerate(TONES_HZ):
        wave += 10 ** (-(35 + index) / 20) * np.sin(2 * np.pi * frequency_hz * time_s + index**2)
    frequency_hz, power = signal.periodogram(wave, RATE_HZ, window="flattop", scaling="spectrum")
    theirs = [10 * np.log10(2 * power[np.argmin(np.abs(frequency_hz - f))]) for f in TONES_HZ]
    reading = multitone_levels(wave[:, None], RATE_HZ, TONES_HZ)
    assert reading.level_dbfs[:, 0] == pytest.approx(theirs, abs=0.005)


def test_a_missing_tone_and_a_dead_track_are_told() -> None:
    random = np.random.default_rng(2)
    levels_dbfs = np.full(len(TONES_HZ), -40.0)
    levels_dbfs[8] = -160.0
    wave = multitone(random, levels_dbfs, 1.0, -65.0)
    noise = 1e-4 * random.standard_normal(len(wave))
    reading = multitone_levels(np.stack([wave, noise], axis=1), RATE_HZ, TONES_HZ)
    assert reading.validity[8] == (Validity.NO_SIGNAL, Validity.NO_SIGNAL)
    assert np.isnan(reading.level_dbfs[8, 0])
    assert [row[0] for row in reading.validity].count(Validity.OK) == len(TONES_HZ) - 1
    assert {row[1] for row in reading.validity} == {Validity.NO_SIGNAL}


def test_too_short_for_the_gap_and_tones_too_near() -> None:
    wave = np.sin(np.arange(RATE_HZ // 2))[:, None] * 0.1
    reading = multitone_levels(wave, RATE_HZ, (35.0, 45.0))
    assert reading.validity == ((Validity.TOO_SHORT,), (Validity.TOO_SHORT,))
    assert np.isnan(reading.level_dbfs).all()
    for tones_hz in ((), (100.0, 104.0), (200.0, 100.0), (100.0, 30_000.0)):
        with pytest.raises(MisuseError):
            multitone_levels(wave, RATE_HZ, tones_hz)
