"""Crosstalk, erasure, modulation noise, limits and the upright head, all in closed form."""

import numpy as np
import pytest
from scipy import fft

from fluxbench.base import MisuseError, Validity
from fluxbench.measure import (
    compression_db,
    crosstalk,
    erasure,
    harmonics,
    highest_output,
    maximum_output,
    modulation_noise,
    print_through,
    remains,
    upright,
)
from fluxbench.trade import azimuth_loss_db

RATE_HZ = 48_000
TIME_S = np.arange(2 * RATE_HZ) / RATE_HZ
SINE = 0.1 * np.sin(2 * np.pi * 1000 * TIME_S)


def noisy(*waves: np.ndarray, seed: int = 1) -> np.ndarray:
    """-100 dBFS of white noise on every track."""
    random = np.random.default_rng(seed)
    return np.stack([w + 7.07e-6 * random.standard_normal(len(w)) for w in waves], axis=1)


def test_crosstalk_under_noise_is_a_limit_not_a_number() -> None:
    reading = crosstalk(noisy(1e-3 * SINE, SINE, 0 * SINE), RATE_HZ, 1000.0, driven_track=2)
    assert reading.level_db[:2] == pytest.approx([-60.0, 0.0], abs=0.1)
    assert reading.validity[2] is Validity.NO_SIGNAL
    assert np.isnan(reading.level_db[2])
    assert -120 < reading.limit_db[2] < -95
    with pytest.raises(MisuseError, match="no track 4"):
        crosstalk(noisy(SINE, SINE, SINE), RATE_HZ, 1000.0, driven_track=4)


def test_crosstalk_of_a_track_without_a_tone() -> None:
    reading = crosstalk(noisy(SINE, 0 * SINE), RATE_HZ, 1000.0, driven_track=2)
    assert reading.validity == (Validity.NO_SIGNAL,) * 2


def test_erasure_and_print_through() -> None:
    assert erasure(noisy(SINE), noisy(10 ** (-75 / 20) * SINE, seed=2), RATE_HZ, 1000.0).level_db[
        0
    ] == pytest.approx(-75.0, abs=0.3)
    clean = erasure(noisy(SINE), noisy(0 * SINE, seed=2), RATE_HZ, 1000.0)
    assert clean.validity == (Validity.NO_SIGNAL,)
    assert clean.limit_db[0] < -75
    echo = print_through(noisy(SINE), noisy(10 ** (-54 / 20) * SINE, seed=3), RATE_HZ, 1000.0)
    assert echo.level_db[0] == pytest.approx(-54.0, abs=0.05)


@pytest.mark.parametrize("over_noise_db", [5.0, 8.0, 16.0])
def test_what_is_left_of_a_tone_near_the_noise_is_told_with_its_error(
    over_noise_db: float,
) -> None:
    """A sine in white noise, many times; its power so far over that of the noise within 40 Hz.

    Held against the scatter of the readings' powers, which are linear in chance where levels in
    dB are not. The error of that scatter is 1 / sqrt(2 n): 1.6 %.
    """
    rate_hz, tracks, times, half_hz = 8000, 50, 40, 20.0
    random = np.random.default_rng(8)
    time_s = np.arange(rate_hz)[:, None] / rate_hz
    density = 10 ** (-7.0) / 2 / (rate_hz / 2)  # -70 dB re a sine of full scale
    power = 10 ** (over_noise_db / 10) * density * 2 * half_hz
    powers, errors = [], []
    for _ in range(times):
        phase = 2 * np.pi * random.random(tracks)
        wave = np.sqrt(2 * power) * np.sin(2 * np.pi * 1000 * time_s + phase)
        wave += np.sqrt(density * rate_hz / 2) * random.standard_normal(wave.shape)
        (left,) = remains(wave, rate_hz, [1000.0], np.zeros((1, tracks)))
        known = np.isfinite(left.level_db)
        powers += list(0.5 * 10 ** (left.level_db[known] / 10))
        errors += list(left.standard_error_db[known])
    assert len(powers) == tracks * times
    found, said_db = np.array(powers), np.array(errors)
    said = np.sqrt(np.mean((2 * np.log(10) / 20 * said_db * found) ** 2))
    assert said == pytest.approx(np.std(found), rel=0.05)
    assert np.mean(found) == pytest.approx(power, rel=4 * np.std(found) / power / len(found) ** 0.5)


def test_modulation_noise_less_the_noise_that_is_always_there() -> None:
    """Noise that multiplies, flat to 400 Hz, of -54 dB: with and without a floor of its own."""
    random = np.random.default_rng(5)
    lines = np.zeros(len(TIME_S) // 2 + 1, complex)
    inside = slice(2 * 25, 2 * 400)
    lines[inside] = np.exp(2j * np.pi * random.random(2 * 375))
    swing = fft.irfft(lines, len(TIME_S))
    swing *= 10 ** (-54 / 20) / np.sqrt(np.mean(swing**2))
    floor, quiet = (
        1e-4 * np.random.default_rng(s).standard_normal((len(TIME_S), 1)) for s in (6, 7)
    )
    wave = ((1 + swing) * SINE)[:, None]
    assert modulation_noise(wave, RATE_HZ, 1000.0).level_db[0] == pytest.approx(-54, abs=0.1)
    reading = modulation_noise(wave + floor, RATE_HZ, 1000.0, quiet)
    assert reading.level_db[0] == pytest.approx(-54, abs=0.5)
    assert modulation_noise(wave + floor, RATE_HZ, 1000.0).level_db[0] > reading.level_db[0] + 0.03


def test_modulation_noise_states_how_it_scatters() -> None:
    """Both sides of amplitude modulation say the same: 375 Hz of them are 375 values a second.

    The scatter over 48 tracks of Gaussian noise is known to a tenth (chi square).
    """
    lines = np.random.default_rng(8).standard_normal((2, 48, len(TIME_S) // 2 + 1))
    lines[:, :, : 2 * 25] = lines[:, :, 2 * 400 :] = 0.0
    swing = fft.irfft(lines[0] + 1j * lines[1], len(TIME_S), axis=1).T
    wave = (1 + 0.005 * swing / swing.std()) * SINE[:, None]
    reading = modulation_noise(wave, RATE_HZ, 1000.0)
    said, found = np.median(reading.standard_error_db), np.std(reading.level_db)
    assert 0.75 < said / found < 1.3


def test_level_at_three_per_cent_of_a_cubic() -> None:
    """x - c x³: third harmonic (c a²/4) / (1 - 3 c a²/4); solved for 3 %, a² = 0.12 / (1.09 c)."""
    sent_db = np.arange(-12.0, 7.0, 1.0)
    output_db, third, error = [], [], []
    for level_db in sent_db:
        sine = 0.2 * 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * TIME_S[:RATE_HZ])
        bent = (sine - 1.0 * sine**3)[:, None]
        bent += 1e-6 * np.random.default_rng(1).standard_normal(bent.shape)
        reading = harmonics(bent, RATE_HZ, 1000.0)
        third.append(reading.percent[1, 0])
        error.append(reading.standard_error_percent[1, 0])
        amplitude = 0.2 * 10 ** (level_db / 20)
        output_db.append(20 * np.log10(amplitude * (1 - 0.75 * amplitude**2)))
    got = maximum_output(1000.0, sent_db, np.array(output_db), np.array(third), np.array(error))
    amplitude = np.sqrt(0.12 / 1.09)
    assert got.sent_db == pytest.approx(20 * np.log10(amplitude / 0.2), abs=0.02)
    assert got.output_db == pytest.approx(
        20 * np.log10(amplitude * (1 - 0.75 * amplitude**2)), abs=0.02
    )
    assert got.standard_error_db < 0.01
    squeezed = compression_db(sent_db, np.array(output_db))
    assert squeezed[-1] == pytest.approx(sent_db[-1] + 20 * np.log10(0.2) - output_db[-1], abs=0.1)
    low = maximum_output(
        1000.0, sent_db[:5], np.array(output_db[:5]), np.array(third[:5]), np.array(error[:5])
    )
    assert low.validity is Validity.NO_SIGNAL


def test_highest_short_wave_output() -> None:
    """y = x exp(-x²/2): highest at x = 1, -4.343 dB."""
    sent_db = np.arange(-10.0, 6.0, 1.0)
    x = 10 ** (sent_db / 20)
    reading = highest_output(10_000.0, sent_db, 20 * np.log10(x * np.exp(-(x**2) / 2)))
    assert reading.output_db == pytest.approx(-10 / np.log(10), abs=0.02)
    assert reading.sent_db == pytest.approx(0.0, abs=0.1)
    assert highest_output(10_000.0, sent_db, sent_db).validity is Validity.UNSTABLE


def test_upright_by_equal_losses() -> None:
    """6.3 mm, 15 kHz at 7.5 ips: the azimuth loss in closed form, read with 0.02 dB of noise."""
    turns = np.linspace(-1.3, 0.9, 23)
    wavelength_um = 190.5e3 / 15_000
    angle_arcmin = 4.0 * (turns + 0.15)
    loss_db = azimuth_loss_db(angle_arcmin, 6.3, wavelength_um)
    noise_db = 0.02 * np.random.default_rng(3).standard_normal(len(turns))
    reading = upright(turns, -np.abs(loss_db) + noise_db, 0.02)
    assert reading.upright_turns == pytest.approx(-0.15, abs=0.01)
    assert 0.0 < reading.standard_error_turns < 0.02
    assert upright(turns, 0 * turns, 0.02).validity is Validity.UNSTABLE
