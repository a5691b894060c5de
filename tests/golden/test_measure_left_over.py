"""What is left of a tone, against closed forms: sines of a warped time, side tones, white noise."""

import numpy as np
import pytest

from fluxbench.measure import LeftOver

RATES_HZ = (44_100, 48_000, 96_000, 192_000)


def left_of(wave: np.ndarray, rate_hz: int, frequencies_hz: tuple[float, ...]) -> np.ndarray:
    """What is left after the filter has filled."""
    left_over = LeftOver(rate_hz, frequencies_hz)
    left = left_over.process(wave.astype(np.float32))
    return left[round(2.5 * left_over.delay_s * left_over.rate_hz) :]


def level_db(wave: np.ndarray) -> float:
    """Re a full-scale sine."""
    return float(10.0 * np.log10(2.0 * np.mean(np.square(wave, dtype=np.float64))))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("frequency_hz", [63.0, 1000.0, 10_000.0])
def test_a_tone_goes_with_its_slow_flutter_and_half_a_per_cent_of_speed(
    rate_hz: int, frequency_hz: float
) -> None:
    time_s = np.arange(2 * rate_hz) / rate_hz
    # 0.1 % peak at 0.5 and at 8 turns a second (closed form), 0.3 % too fast.
    warped_s = 1.003 * time_s
    for rate in (0.5, 8.0):
        warped_s = warped_s + 1e-3 / (2.0 * np.pi * rate) * np.sin(2.0 * np.pi * rate * time_s)
    wave = np.sin(2.0 * np.pi * frequency_hz * warped_s)
    assert level_db(left_of(wave, rate_hz, (frequency_hz,))) < -80.0


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_what_lies_further_off_stays_at_its_level(rate_hz: int) -> None:
    time_s = np.arange(2 * rate_hz) / rate_hz
    # 1 % amplitude modulation at 200 Hz: two side tones of 0.5 %, -46.02 dB each, -43.01 together.
    carrier = np.sin(2.0 * np.pi * 10_000.0 * time_s)
    rough = carrier * (1.0 + 0.01 * np.cos(2.0 * np.pi * 200.0 * time_s))
    assert level_db(left_of(rough, rate_hz, (10_000.0,))) == pytest.approx(-43.01, abs=0.05)
    # Scrape: 0.1 % peak at 3 kHz, index 1e-3 * 10000 / 3000; narrow-band form, half of it each.
    index = 1e-3 * 10_000.0 / 3000.0
    scrape = np.sin(2e4 * np.pi * time_s + index * np.sin(6e3 * np.pi * time_s))
    expected = 20.0 * np.log10(index / 2.0) + 3.01
    assert level_db(left_of(scrape, rate_hz, (10_000.0,))) == pytest.approx(expected, abs=0.1)
    hum = 1e-3 * np.sin(2.0 * np.pi * 100.0 * time_s)
    assert level_db(left_of(carrier + hum, rate_hz, (10_000.0,))) == pytest.approx(-60.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_white_noise_keeps_its_density_outside_the_bands(rate_hz: int) -> None:
    rng = np.random.default_rng(1)
    noise = rng.normal(0.0, 0.1, 20 * rate_hz)
    left = left_of(noise, rate_hz, (1000.0, 10_000.0))
    # Half-way points: 25 + 5 + 30 Hz about 1 kHz, 25 + 50 + 30 Hz about 10 kHz; 20 kHz at the top.
    passed_hz = 20_000.0 - 120.0 - 210.0
    expected = 0.01 * passed_hz / (rate_hz / 2.0)
    # The mean of n independent squares has a relative sd of sqrt(2 / n); 2 B T of them.
    sd = np.sqrt(2.0 / (2.0 * passed_hz * 20.0))
    assert np.mean(left**2) == pytest.approx(expected, rel=4.0 * sd + 5e-4)


def test_bands_that_touch_are_taken_out_once() -> None:
    time_s = np.arange(96_000) / 48_000
    both = np.sin(2 * np.pi * 1000.0 * time_s) + np.sin(2 * np.pi * 1050.0 * time_s)
    assert level_db(left_of(both, 48_000, (1000.0, 1050.0))) < -80.0


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_blocks_of_any_length_give_what_one_gives(rate_hz: int) -> None:
    rng = np.random.default_rng(2)
    wave = rng.normal(0.0, 0.1, rate_hz).astype(np.float32)
    whole = LeftOver(rate_hz, (1000.0,)).process(wave)
    piecewise, at, pieces = LeftOver(rate_hz, (1000.0,)), 0, []
    while at < len(wave):
        frames = int(rng.integers(1, 4000))
        pieces.append(piecewise.process(wave[at : at + frames]))
        at += frames
    assert np.allclose(np.concatenate(pieces), whole, atol=1e-6)
    assert len(whole) == -(-rate_hz // LeftOver(rate_hz, ()).every)
