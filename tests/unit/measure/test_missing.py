"""Frames that are missing in a tone on file are told, and what only looks like it is not.

Closed form: N frames are 360 degrees x frequency x N / rate of a tone's phase.
"""

from collections.abc import Callable

import numpy as np
import pytest

from fluxbench.measure import take_tone
from tests.captures import made
from tests.unit.measure.test_slips import flutter, from_tape

Change = Callable[[made.F64, int], made.F64]


def _cut(lost: int) -> Change:
    return lambda wave, at: np.delete(wave, slice(at, at + lost), axis=0)


def _repeated(lost: int) -> Change:
    return lambda wave, at: np.concatenate([wave[:at], wave[at - lost :]])


def _clicked(wave: made.F64, at: int) -> made.F64:
    clicked = wave.copy()
    clicked[at : at + 20] += 0.1
    clicked[2 * at : 2 * at + 2, 0] -= 0.3
    return clicked


def _dropped(wave: made.F64, at: int) -> made.F64:
    return made.dropped(made.dropped(wave, 48_000, 1.0, 5.0, 20.0), 48_000, 1.2, 100.0, 40.0)


def _stepped(wave: made.F64, at: int) -> made.F64:
    return np.concatenate([wave[:at], 1.1 * wave[at:]])


@pytest.mark.parametrize(
    ("frequency_hz", "change", "told"),
    [
        (1000.0, _cut(8), 1),  # 60 degrees
        (1000.0, _cut(500), 1),  # 150 degrees after ten turns
        (10_000.0, _repeated(8), 1),  # 120 degrees before two turns
        (15_000.0, _repeated(33), 1),  # 67 degrees before ten turns
        (400.0, _cut(20), 1),  # 60 degrees
        (1000.0, _cut(48), 0),  # a whole turn leaves no trace, and spoils nothing
        (1000.0, _clicked, 0),
        (10_000.0, _clicked, 0),
        (1000.0, _dropped, 0),
        (10_000.0, _dropped, 0),
        (10_000.0, _stepped, 0),
    ],
)
@pytest.mark.parametrize("noise_dbfs", [-50.0, -80.0])
def test_a_tone_with_lost_frames_is_told_from_one_with_damage(
    frequency_hz: float, change: Change, told: int, noise_dbfs: float
) -> None:
    """Tones of -20 dBFS with flutter, 30 and 60 dB above the noise, which drop-outs leave."""
    rng, rate_hz, at = np.random.default_rng(11), 48_000, 60_123
    wave = from_tape((frequency_hz,), rate_hz, 0, 3 * rate_hz, 2, rng, flutter(rng))
    changed = change(wave.astype(np.float64), at)
    changed += made.noise(len(changed) / rate_hz, rate_hz, noise_dbfs, 2)
    missing_s = take_tone(changed, rate_hz, frequency_hz).missing_s
    assert missing_s == pytest.approx([at / rate_hz] * told, abs=0.002)


def test_flutter_that_turns_a_phase_far_is_no_loss() -> None:
    for rate_hz, percent in ((9.7, 0.5), (60.0, 0.3), (130.0, 0.1)):
        warp_s = made.flutter_warp_s(rate_hz, percent)
        wave = made.tone(2.0, 48_000, 10_000.0, warp_s=warp_s) + made.noise(2.0, 48_000, -80.0)
        assert take_tone(wave, 48_000, 10_000.0).missing_s == ()
