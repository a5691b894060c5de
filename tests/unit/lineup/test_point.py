"""A tenth of a second of the tape, when the tape does not run at its speed."""

import numpy as np
import pytest

from fluxbench.base import Block
from fluxbench.lineup._point import HOPS_PER_POINT, Point
from fluxbench.measure import EnvelopeBank

RATE_HZ = 48_000
TONES_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 10_000.0)


@pytest.mark.parametrize("tone_hz", TONES_HZ)
@pytest.mark.parametrize("speed", [1.0, 0.992, 1.008])
def test_a_tone_reads_its_level_when_the_tape_runs_slow_or_fast(
    tone_hz: float, speed: float
) -> None:
    """A sine of amplitude 0.1 is -20 dBFS at whatever frequency it comes back."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    wave = 0.1 * np.sin(2.0 * np.pi * tone_hz * speed * time_s + 0.7)
    bank = EnvelopeBank(RATE_HZ, 2, TONES_HZ)
    hops = bank.process(Block(np.stack([wave, -wave], axis=1).astype(np.float32), 0))
    point = Point(hops[-HOPS_PER_POINT:], 0.0)
    read = point.level_db[TONES_HZ.index(tone_hz)]
    assert read == pytest.approx([-20.0, -20.0], abs=0.1)
