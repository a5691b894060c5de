"""Tones of known level and frequency, in closed form, and a general library's second opinion."""

import numpy as np
import pytest
from scipy import signal

from fluxbench.base import Validity
from fluxbench.measure._tone import tone_levels

FLUTTER = ((2e-4, 0.7), (2e-4, 5.2), (2e-4, 27.0), (2e-4, 95.0))
"""Ordinary flutter, peak deviation and frequency in Hz (rates of PHYSICS: 0.02 % components)."""


def seconds(rate_hz: int, duration_s: float) -> np.ndarray:
    return np.arange(round(rate_hz * duration_s)) / rate_hz


def fluttering(time_s: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Time on the tape: the integral of 1 + sum of peak · cos(2 pi f t + phase), exact."""
    warp = np.zeros_like(time_s)
    for peak, frequency_hz in FLUTTER:
        turn = 2 * np.pi * frequency_hz
        warp += peak / turn * np.sin(turn * time_s + random.uniform(0, 2 * np.pi))
    return time_s + warp


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
@pytest.mark.parametrize("frequency_hz", [1_000.0, 3_150.0, 10_000.0, 16_000.0])
def test_flutter_does_not_lower_a_tone(rate_hz: int, frequency_hz: float) -> None:
    # Closed form: a sine of peak 0.1 on any time scale is -20 dBFS.
    random = np.random.default_rng(11)
    for duration_s in (1.5, 2.0):
        tape_s = fluttering(seconds(rate_hz, duration_s), random)
        wave = 0.1 * np.sin(2 * np.pi * 1.002 * frequency_hz * tape_s)
        reading = tone_levels(wave[:, None].astype(np.float32), rate_hz, frequency_hz)
        assert reading.level_dbfs[0] == pytest.approx(-20.0, abs=0.002)
        assert reading.frequency_hz[0] == pytest.approx(1.002 * frequency_hz, rel=1e-4)


def test_one_coherent_line_would_read_that_tone_low() -> None:
    # The reason for band power: one line of half a second that lies right on the tone.
    tape_s = fluttering(seconds(48_000, 0.5), np.random.default_rng(2))
    wave = 0.1 * np.sin(2 * np.pi * 10_000.0 * tape_s)
    _, power = signal.periodogram(wave, 48_000, window="boxcar", scaling="spectrum")
    assert 10 * np.log10(2 * power[5_000]) < -21.0
    reading = tone_levels(wave[:, None], 48_000, 10_000.0)
    assert reading.level_dbfs[0] == pytest.approx(-20.0, abs=0.02)


@pytest.mark.parametrize("frequency_hz", [31.5, 40.0, 52.3, 63.0, 100.0])
@pytest.mark.parametrize("phase", [0.0, 0.7, 1.5])
def test_low_tones_need_no_more_than_a_second(frequency_hz: float, phase: float) -> None:
    wave = 0.1 * np.sin(2 * np.pi * frequency_hz * seconds(48_000, 1.0) + phase)
    reading = tone_levels(wave[:, None].astype(np.float32), 48_000, frequency_hz)
    assert reading.level_dbfs[0] == pytest.approx(-20.0, abs=0.002)
    assert reading.frequency_hz[0] == pytest.approx(frequency_hz, abs=2e-4)


@pytest.mark.parametrize(("frequency_hz", "level_dbfs"), [(1_000.0, 0.0), (315.0, -33.0)])
def test_level_agrees_with_a_flat_top_spectrum(frequency_hz: float, level_dbfs: float) -> None:
    # Second opinion: scipy.signal.periodogram, flat-top window, flat to 0.01 dB.
    random = np.random.default_rng(3)
    wave = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * seconds(48_000, 2.0) + 0.3)
    wave = np.clip(wave + 1e-5 * random.standard_normal(len(wave)), -1.0, 1.0)
    _, power = signal.periodogram(wave, 48_000, window="flattop", scaling="spectrum")
    theirs_dbfs = 10 * np.log10(2 * np.max(power))
    ours = tone_levels(wave[:, None] * 0.9999, 48_000, frequency_hz)
    assert ours.validity == (Validity.OK,)
    assert ours.level_dbfs[0] == pytest.approx(theirs_dbfs, abs=0.01)


def test_noise_beside_is_taken_off_and_agrees_with_welch() -> None:
    # Closed form: tone and noise in the band of equal power; unsubtracted it would read 3 dB high.
    random = np.random.default_rng(4)
    rate_hz, amplitude, half_hz = 48_000, 1e-3, 150.0
    sigma = np.sqrt(amplitude**2 / 2 / (2 * half_hz / (rate_hz / 2)))
    wave = amplitude * np.sin(2 * np.pi * 10_000 * seconds(rate_hz, 20.0))
    wave += sigma * random.standard_normal(len(wave))
    reading = tone_levels(wave[:, None], rate_hz, 10_000.0)
    assert reading.level_dbfs[0] == pytest.approx(-60.0, abs=0.3)
    frequency_hz, density = signal.welch(wave, rate_hz, nperseg=4_800)
    beside = (np.abs(frequency_hz - 10_000) > 200) & (np.abs(frequency_hz - 10_000) < 2_000)
    theirs_dbfs = 10 * np.log10(2 * 2 * half_hz * np.mean(density[beside]))
    assert reading.noise_dbfs[0] == pytest.approx(theirs_dbfs, abs=0.2)


def test_hum_and_a_companion_tone_stay_outside() -> None:
    time_s = seconds(48_000, 2.0)
    wave = 0.1 * np.sin(2 * np.pi * 10_000 * time_s) + 0.03 * np.sin(2 * np.pi * 1_000 * time_s)
    wave += 0.01 * np.sin(2 * np.pi * 50 * time_s)
    for frequency_hz, level_dbfs in ((10_000.0, -20.0), (1_000.0, 20 * np.log10(0.03))):
        reading = tone_levels(wave[:, None], 48_000, frequency_hz)
        assert reading.level_dbfs[0] == pytest.approx(level_dbfs, abs=0.001)


def test_phase_leads_positive_and_re_the_first_valid_track() -> None:
    tape_s = fluttering(seconds(48_000, 2.0), np.random.default_rng(5))
    degrees = (10.0, 75.0, -160.0)
    angle = 2 * np.pi * 10_000 * tape_s
    tracks = [np.zeros_like(tape_s)] + [0.1 * np.sin(angle + np.radians(d)) for d in degrees]
    reading = tone_levels(np.stack(tracks, axis=1), 48_000, 10_000.0)
    assert reading.reference_track == 2
    assert reading.validity[0] is Validity.NO_SIGNAL
    assert np.isnan(reading.phase_deg[0])
    assert reading.phase_deg[1:] == pytest.approx([0.0, 65.0, -170.0], abs=0.01)


def test_the_stated_error_is_that_of_repeated_takes() -> None:
    # A tone whose level wanders slowly: sd of many takes against the root mean square of what
    # each take says of itself. Ten blocks know a standard deviation to about a quarter.
    random = np.random.default_rng(6)
    rate_hz, time_s = 8_000, seconds(8_000, 5.0)
    levels, stated = [], []
    for _ in range(80):
        wander_db = signal.lfilter([1], [1, -np.exp(-6.0 / rate_hz)], random.normal(size=45_000))
        wander_db = 0.1 * wander_db[5_000:] / np.sqrt(rate_hz / 12.0)
        wave = 0.1 * 10 ** (wander_db / 20) * np.sin(2 * np.pi * 1_000 * time_s)
        reading = tone_levels(wave[:, None], rate_hz, 1_000.0)
        levels.append(reading.level_dbfs[0])
        stated.append(reading.level_standard_error_db[0])
    assert np.mean(levels) == pytest.approx(-20.0, abs=0.02)
    assert 0.75 < np.sqrt(np.mean(np.square(stated))) / np.std(levels) < 1.35


@pytest.mark.parametrize(("frequency_hz", "floor_db"), [(100.0, 55.0), (1_000.0, 60.0)])
def test_stated_errors_are_those_made_where_there_is_little_noise(
    frequency_hz: float, floor_db: float
) -> None:
    # Closed form: a sine of peak 0.1 in white noise of a known rms. What a taper leaves beside a
    # clean tone is no noise, and where it is taken must not pass for a level that moves.
    random = np.random.default_rng(7)
    rate_hz, time_s = 8_000, seconds(8_000, 5.0)
    off: list[list[float]] = []
    for _ in range(20):
        clean = 0.1 * np.sin(2 * np.pi * frequency_hz * time_s + random.uniform(0, 2 * np.pi))
        noise = 0.1 / np.sqrt(2) * 10 ** (-floor_db / 20) * random.normal(size=(2, len(clean)))
        reading = tone_levels((clean + noise).T, rate_hz, frequency_hz)
        off.append(
            [
                (reading.level_dbfs[0] + 20.0) / reading.level_standard_error_db[0],
                (reading.frequency_hz[0] - frequency_hz) / reading.frequency_standard_error_hz[0],
                reading.phase_deg[1] / reading.phase_standard_error_deg[1],
            ]
        )
    ratio = np.sqrt(np.mean(np.square(off), axis=0))
    assert np.all((ratio > 0.5) & (ratio < 1.6)), ratio


def test_spread_is_that_of_the_hop_levels() -> None:
    # Closed form: amplitude modulation m at 1 Hz, averaged over 0.2 s (sinc 0.2 = 0.9355), has
    # hop levels of standard deviation 8.686 m · 0.9355 / sqrt 2 dB for small m.
    time_s = seconds(48_000, 10.0)
    wave = 0.1 * (1 + 0.02 * np.sin(2 * np.pi * time_s)) * np.sin(2 * np.pi * 1_000 * time_s)
    reading = tone_levels(wave[:, None], 48_000, 1_000.0)
    expected_db = 20 / np.log(10) * 0.02 * np.sinc(0.2) / np.sqrt(2)
    assert reading.level_spread_db[0] == pytest.approx(expected_db, rel=0.03)
