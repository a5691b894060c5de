"""What is left of a return when its tones are taken out of it, as sound that goes on without a gap.

What flutters slowly belongs to the tone and goes with it: a band around each. What is further off
stays: noise, hum, roughness (modulation noise), scrape (flutter of some hundred turns a second and
more), and the edges of drop-outs.
"""

from collections.abc import Sequence

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from fluxbench.measure._windows import kaiser_low_pass, kaiser_taps

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

STOP_DB = 90.0
"""What is left of a steady tone lies below it by this."""
TRANSITION_HZ = 60.0
SLOW_HZ = 25.0
OFF_SPEED_RATIO = 0.005
"""A tone may be half a per cent beside its frequency, and waver by `SLOW_HZ` at most."""
HIGHEST_HZ = 20_000.0
HIGHEST_RATE_HZ = 50_000


class LeftOver:
    """Takes tones out of one track's samples; every `every`-th frame comes out, `rate_hz` of them.

    `frequencies_hz` are taken out with a band of 25 Hz and half a per cent on either side, 90 dB
    down; 60 Hz further everything passes, up to 20 kHz or 0.45 of the rate. The delay is `delay_s`.
    """

    def __init__(self, rate_hz: int, frequencies_hz: Sequence[float]) -> None:
        self.every = max(1, -(-rate_hz // HIGHEST_RATE_HZ))
        self.rate_hz = rate_hz // self.every
        self._taps = kaiser_taps(STOP_DB, TRANSITION_HZ, rate_hz) | 1
        self.delay_s = 0.5 * (self._taps - 1) / rate_hz
        self._before = np.zeros(self._taps - 1, np.float32)
        self._ahead = 0
        self._pass = _all_but(frequencies_hz, self._taps, rate_hz)
        self._spectra: dict[int, NDArray[np.complex64]] = {}

    def process(self, samples: F32) -> F32:
        """What is left of the next samples (n,), every `every`-th of them."""
        whole = np.concatenate([self._before, samples])
        self._before = whole[len(whole) - (self._taps - 1) :]
        length = scipy.fft.next_fast_len(len(whole), real=True)
        if length not in self._spectra:
            self._spectra = {length: scipy.fft.rfft(self._pass.astype(np.float32), length)}
        left = scipy.fft.irfft(scipy.fft.rfft(whole, length) * self._spectra[length], length)
        # Circular: the first taps - 1 values are spoiled, and those are the samples of before.
        new = left[self._taps - 1 : len(whole)]
        kept = new[self._ahead :: self.every]
        self._ahead = (self._ahead - len(new)) % self.every
        return np.asarray(kept, np.float32)


def _all_but(frequencies_hz: Sequence[float], taps: int, rate_hz: int) -> F64:
    """Taps that pass all but bands around these frequencies, up to the highest."""

    def up_to(frequency_hz: float) -> F64:
        if frequency_hz <= 0.0:
            return np.zeros(taps)
        return kaiser_low_pass(taps, frequency_hz, rate_hz, STOP_DB)

    taken = up_to(min(HIGHEST_HZ, 0.45 * rate_hz))
    for low_hz, high_hz in _bands(frequencies_hz):
        taken -= up_to(min(high_hz, 0.5 * rate_hz)) - up_to(low_hz)
    return taken


def _bands(frequencies_hz: Sequence[float]) -> list[tuple[float, float]]:
    """Bands between half-way points, in order; those that touch are one."""
    found: list[tuple[float, float]] = []
    for frequency_hz in sorted(f for f in frequencies_hz if f > 0.0):
        half_hz = SLOW_HZ + OFF_SPEED_RATIO * frequency_hz + 0.5 * TRANSITION_HZ
        low_hz, high_hz = frequency_hz - half_hz, frequency_hz + half_hz
        if found and low_hz <= found[-1][1] + TRANSITION_HZ:
            found[-1] = (found[-1][0], high_hz)
        else:
            found.append((low_hz, high_hz))
    return found
