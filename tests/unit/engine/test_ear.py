"""What is left beside the tones: at its level and the gain, not too loud, silent when unsure."""

import numpy as np
import pytest

from fluxbench.base import Block, Flag
from fluxbench.engine import Ear, Left, Listening
from fluxbench.engine._ear import LOUDEST, RISES_S, SETTLES_S
from fluxbench.signals import PerTrack, Signal, Silence, Sweep, Tone, Tones

RATE_HZ = 48_000
BLOCK = 960
SETTLED = round((SETTLES_S + RISES_S) * RATE_HZ) // BLOCK + 1
TONE = Tone(1000.0, -20.0)


class Return:
    """A tone of -20 dBFS on both tracks, and 3.15 kHz of `beside_dbfs` on track 2."""

    def __init__(self, beside_dbfs: float = -80.0) -> None:
        self._beside = 10.0 ** (beside_dbfs / 20.0)
        self._at = 0

    def block(self, flags: Flag = Flag.NONE) -> Block:
        time_s = (self._at + np.arange(BLOCK)) / RATE_HZ
        tone = 0.1 * np.sin(2.0 * np.pi * 1000.0 * time_s)
        beside = self._beside * np.sin(2.0 * np.pi * 3150.0 * time_s)
        samples = np.stack([tone, tone + beside], axis=1).astype(np.float32)
        self._at += BLOCK
        return Block(samples, self._at - BLOCK, flags)


def heard(ear: Ear, back: Return, signal: Signal = TONE, blocks: int = SETTLED) -> Left:
    """What the last of some blocks gives."""
    left = None
    for _ in range(blocks):
        left = ear.hear(back.block(), signal, (1000.0,))
    assert left is not None
    return left


def level_dbfs(left: Left) -> float:
    return float(10.0 * np.log10(2.0 * np.mean((left.samples / 32767.0) ** 2) + 1e-30))


def test_what_is_left_is_louder_by_the_gain_and_the_tone_is_gone() -> None:
    """-80 dBFS and 40 dB: -40 dBFS, by definition of the decibel."""
    ear, back = Ear(RATE_HZ), Return()
    ear.listen(Listening(1, 40.0))
    left = heard(ear, back)
    assert (left.track, left.rate_hz, len(left.samples)) == (1, RATE_HZ, BLOCK)
    assert level_dbfs(left) == pytest.approx(-40.0, abs=0.1)
    ear.listen(Listening(0, 40.0))
    assert level_dbfs(heard(ear, back)) < -65.0  # the other track has the tone alone


def test_nothing_is_louder_than_the_loudest() -> None:
    ear, back = Ear(RATE_HZ), Return(beside_dbfs=-1.0)
    ear.listen(Listening(1, 60.0))
    left = heard(ear, back)
    assert np.abs(left.samples).max() <= round(LOUDEST * 32767.0)
    assert np.abs(left.samples).max() > 0.9 * LOUDEST * 32767.0


@pytest.mark.parametrize("signal", [TONE, Tones((TONE,)), PerTrack((Silence(), TONE))])
def test_tones_are_known_by_what_is_sent_as_well(signal: Signal) -> None:
    ear, back = Ear(RATE_HZ), Return()
    ear.listen(Listening(1))
    for _ in range(SETTLED):
        left = ear.hear(back.block(), signal, (63.0,))
    assert left is not None
    assert level_dbfs(left) == pytest.approx(-40.0, abs=0.1)


def test_silence_while_something_else_is_sent_after_a_change_and_after_lost_frames() -> None:
    ear, back = Ear(RATE_HZ), Return()
    ear.listen(Listening(1))
    assert not heard(ear, back, Sweep(20.0, 20e3, 5.0, -20.0)).samples.any()
    assert not heard(ear, back, TONE, 10).samples.any()
    assert heard(ear, back).samples.any()
    lost = ear.hear(back.block(Flag.INPUT_LOST), TONE, (1000.0,))
    assert lost is not None
    assert not lost.samples.any()
    assert not heard(ear, back, TONE, 10).samples.any()
    ear.hear(back.block(), TONE, (10_000.0,))
    other = ear.hear(back.block(), TONE, (10_000.0,))
    assert other is not None
    assert not other.samples.any()


def test_nobody_listens_or_to_a_track_that_there_is_not() -> None:
    ear, back = Ear(RATE_HZ), Return()
    assert ear.hear(back.block(), TONE, (1000.0,)) is None
    ear.listen(Listening(2))
    assert ear.hear(back.block(), TONE, (1000.0,)) is None
