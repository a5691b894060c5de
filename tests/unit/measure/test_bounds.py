"""No more error than white noise must give: `benchmarks/bound_ratios.py` in small."""

import numpy as np
import pytest

from benchmarks.bound_ratios import MUST, ratios

RUNS = 150


@pytest.mark.parametrize(("frequency_hz", "seed"), [(1_000.0, 1), (7_000.0, 2)])
def test_ratios_to_the_cramer_rao_bounds(frequency_hz: float, seed: int) -> None:
    # A standard deviation from n runs is known to 1 / sqrt(2 n); two of those are allowed, and
    # no unbiased estimate can lie below the bound by more than three.
    told = ratios(RUNS, frequency_hz, 1.5, -45.0, seed, rate_hz=16_000)
    known = 1 / np.sqrt(2 * RUNS)
    for name, ratio in told.items():
        assert 1 - 3 * known < ratio <= MUST + 2 * known, name
