"""What noise alone can hold in a band, against chance itself."""

import numpy as np
import pytest

from fluxbench.measure._spectrum import Band, band_tone


@pytest.mark.parametrize("beside_halves", [2.0, 8.0])
def test_a_tone_that_is_heard_stands_out_of_what_is_taken_off_as_well(beside_halves: float) -> None:
    """Lines of white noise, 1500 tracks: its scatter is a fifth of what counts as hidden.

    The less lies beside, the less is known of the noise, and the more must stand out.
    """
    random = np.random.default_rng(5)
    shape = (1001, 1500)
    lines = random.standard_normal(shape) + 1j * random.standard_normal(shape)
    band = Band(lines, 1000, 1.0, 1000, 4000.0, 0.0, 1.0, 1.0)
    read = band_tone(band, 1500.0, 100.0, 100.0 * (1.0 + beside_halves / 2.0))
    assert np.std(read.power) == pytest.approx(np.mean(read.hidden_power) / 5.0, rel=0.1)
