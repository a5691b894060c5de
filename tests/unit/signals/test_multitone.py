"""Phases of multitones: amplitudes stay, the peak falls, and it is known."""

import numpy as np
import pytest
from scipy import fft

from fluxbench.base import SignalError
from fluxbench.signals import Multitone, Sender, crest_factor, crest_optimised_multitone

RATE_HZ = 48_000
ODD_FIVES_HZ = [45, 65, 105, 165, 255, 405, 635, 1005, 1605, 2505, 3995, 6305, 10005, 16005]


def sent(multitone: Multitone, seconds: float, rate_hz: int) -> np.ndarray:
    sender = Sender(rate_hz, 1)
    sender.send(multitone)
    sender.block(rate_hz)
    return sender.block(round(seconds * rate_hz))[:, 0].astype(np.float64)


def test_every_tone_keeps_its_level() -> None:
    multitone = crest_optimised_multitone(ODD_FIVES_HZ, -30.0, RATE_HZ, seed=1)
    spectrum = fft.rfft(sent(multitone, 2.0, RATE_HZ)) / RATE_HZ  # amplitudes: 2 s of frames
    lines = np.rint(np.array(multitone.frequencies_hz) * 2).astype(int)
    levels_dbfs = 20 * np.log10(np.abs(spectrum[lines]))
    assert np.max(np.abs(levels_dbfs + 30.0)) < 1e-4


def test_optimising_beats_random_phases_and_the_peak_is_the_true_one() -> None:
    multitone = crest_optimised_multitone(ODD_FIVES_HZ, -30.0, RATE_HZ, seed=1)
    random = np.random.default_rng(5)
    others = [
        crest_factor(
            Multitone(multitone.frequencies_hz, -30.0, tuple(random.uniform(0, 2 * np.pi, 14)))
        )
        for _ in range(20)
    ]
    assert crest_factor(multitone) < min(others)
    # The bound against the samples at 20 times the rate: never below, at most 0.05 dB above.
    rms = 10 ** (-30 / 20) * np.sqrt(14 / 2)
    sampled = np.max(np.abs(sent(multitone, 0.2, 20 * RATE_HZ))) / rms
    assert sampled <= crest_factor(multitone) < sampled * 10 ** (0.05 / 20)


def test_same_seed_same_phases() -> None:
    first, again = (crest_optimised_multitone(ODD_FIVES_HZ, -30.0, RATE_HZ, 7) for _ in range(2))
    assert first == again


def test_tones_off_the_grid_count_with_the_sum_of_their_peaks() -> None:
    multitone = Multitone((100.1, 200.3, 300.7), -20.0, (0.0, 0.0, 0.0))
    assert crest_factor(multitone) == pytest.approx(3 / np.sqrt(3 / 2))


def test_frequencies_move_to_the_half_hertz_grid() -> None:
    multitone = crest_optimised_multitone([1_000.2, 63.3], -30.0, RATE_HZ, 1)
    assert multitone.frequencies_hz == (63.5, 1_000.0)


@pytest.mark.parametrize("frequencies_hz", [[], [0.1], [24_000.0], [100.0, 100.2]])
def test_impossible_multitones_are_refused(frequencies_hz: list[float]) -> None:
    with pytest.raises(SignalError):
        crest_optimised_multitone(frequencies_hz, -30.0, RATE_HZ, 1)
