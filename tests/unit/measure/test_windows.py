"""Windows and low-passes against the general-purpose library's."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import signal

from fluxbench.measure._loop_probe import probe_return
from fluxbench.measure._quasi_peak import QuasiPeak
from fluxbench.measure._windows import kaiser_beta, kaiser_low_pass, kaiser_taps, raised_cosine


@pytest.mark.parametrize("frames", [4, 9600, 9601])
def test_a_raised_cosine_is_the_library_s(frames: int) -> None:
    assert raised_cosine(frames) == pytest.approx(signal.windows.hann(frames, sym=False), abs=1e-14)


@pytest.mark.parametrize(
    ("stop_db", "cut_off_hz", "transition_hz", "rate_hz"),
    [
        (80.0, 500.0, 500.0, 48_000.0),
        (100.0, 440.0, 80.0, 96_000.0),
        (60.0, 21_000.0, 900.0, 44_100),
    ],
)
def test_a_low_pass_is_the_library_s(
    stop_db: float, cut_off_hz: float, transition_hz: float, rate_hz: float
) -> None:
    taps, beta = signal.kaiserord(stop_db, transition_hz / (rate_hz / 2.0))
    assert kaiser_taps(stop_db, transition_hz, rate_hz) == taps
    assert kaiser_beta(stop_db) == pytest.approx(beta, rel=1e-12)
    theirs = signal.firwin(taps | 1, cut_off_hz, window=("kaiser", beta), fs=rate_hz)
    ours = kaiser_low_pass(taps | 1, cut_off_hz, rate_hz, stop_db)
    assert ours == pytest.approx(theirs, abs=1e-12)


def test_the_pointer_is_smoothed_as_the_library_s_filter_does_it() -> None:
    weighted = np.random.default_rng(3).standard_normal((2, 200_000)).astype(np.float32)
    meter = QuasiPeak(48_000.0, 2)
    stage = QuasiPeak(48_000.0, 2)._stage(np.abs(weighted))
    share = meter._smoothing
    theirs = signal.lfilter([share], [1.0, share - 1.0], stage, axis=1)
    ours = np.concatenate(
        [meter.add(weighted[:, :70_000]), meter.add(weighted[:, 70_000:])], axis=1
    )
    assert ours / ours[:, -1:] == pytest.approx(theirs / theirs[:, -1:], rel=1e-9)


def test_a_probe_is_found_where_the_library_s_correlation_has_its_peak() -> None:
    random = np.random.default_rng(4)
    sent = random.standard_normal(3001).astype(np.float32)
    back = 1e-3 * random.standard_normal((4003, 1)).astype(np.float32)
    back[707 : 707 + 3001, 0] += 0.25 * sent
    against = signal.correlate(back[:, 0].astype(float), sent.astype(float), "valid", "direct")
    heard = probe_return(sent, back)
    assert round(float(heard.delay_frames[0])) == int(np.argmax(against)) == 707
    energy = float(np.sum(sent.astype(float) ** 2))
    assert heard.gain[0] == pytest.approx(against.max() / energy, rel=1e-9)


def test_measuring_does_without_the_large_half_of_the_library() -> None:
    """It takes 45 MB, and `read` may have 300 at any length."""
    script = "import sys, fluxbench.captures, fluxbench.cli; print('scipy.signal' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"
