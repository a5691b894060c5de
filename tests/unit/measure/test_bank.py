"""The low-pass of the live front end against a general-purpose library's design of the same."""

import subprocess
import sys

import numpy as np
import pytest
import scipy.signal

from fluxbench.measure._bank import low_pass


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000, 96_000, 192_000])
def test_the_low_pass_is_the_library_s(rate_hz: int) -> None:
    taps, beta = scipy.signal.kaiserord(80.0, 500.0 / (rate_hz / 2.0))
    designed = scipy.signal.firwin(taps | 1, 500.0, window=("kaiser", beta), fs=rate_hz)
    assert low_pass(250.0, 750.0, rate_hz) == pytest.approx(designed, abs=1e-15)


def test_it_passes_and_stops_where_it_should() -> None:
    frequency_hz, response = scipy.signal.freqz(
        low_pass(250.0, 750.0, 48_000), 1, 65_536, fs=48_000
    )
    gain_db = 20.0 * np.log10(np.abs(response) + 1e-12)
    assert np.abs(gain_db[frequency_hz < 250.0]).max() < 0.002
    assert gain_db[frequency_hz > 750.0].max() < -79.0


def test_an_engine_starts_without_the_slow_part_of_the_library() -> None:
    code = "import sys, fluxbench.engine; print('scipy.signal' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
