"""Programme that was cut off flat, and what only looks so: the steps of few bits."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from fluxbench.captures import read_capture
from fluxbench.captures.catalogue._peaks import peaks_of

RATE_HZ = 48_000


@pytest.mark.parametrize(
    ("peak", "cut_at", "coding", "told"),
    [
        (0.3, 0.25, "PCM_16", True),
        (0.3, 1.0, "PCM_16", False),
        (0.012, 1.0, "PCM_16", False),  # a low wave of 393 steps stays at its top for samples
        (0.06, 1.0, "PCM_16", False),
        (0.3, 1.0, "PCM_U8", False),
    ],
)
def test_flat_tops_are_told_from_round_ones(
    tmp_path: Path, peak: float, cut_at: float, coding: str, told: bool
) -> None:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    wave = np.minimum(peak * np.sin(2 * np.pi * 62.5 * time_s), cut_at)
    soundfile.write(tmp_path / "low.wav", wave, RATE_HZ, coding)
    found = peaks_of(read_capture(str(tmp_path / "low.wav")))
    assert bool(found.flat_tops[0]) is told
