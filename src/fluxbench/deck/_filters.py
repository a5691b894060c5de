"""The signal-processing blocks of the deck: FIRs that may change, and a delay that moves."""

from collections.abc import Sequence

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
C64 = NDArray[np.complex64]

GRID = 2048
"""Points of the frequency grid on which responses are given (DC to half the rate, GRID/2 + 1)."""


def grid_hz(rate_hz: float) -> F64:
    """Frequencies (Hz) of the design grid."""
    return np.arange(GRID // 2 + 1) * (rate_hz / GRID)


def taps_for(rate_hz: float) -> int:
    """An odd length of about 5.3 ms."""
    return 2 * round(rate_hz * 0.00266) + 1


class MovingFir:
    """A FIR per track by overlap-save, whose responses may change from block to block.

    A change is crossfaded over the block in which it happens, so that it never clicks. Responses
    are complex (grid, tracks); the filter delays by (taps - 1)/2 frames.
    """

    def __init__(self, rate_hz: float, tracks: int) -> None:
        self._rate_hz = rate_hz
        self._taps = taps_for(rate_hz)
        self._window = scipy.signal.windows.kaiser(self._taps, 5.0)[:, np.newaxis]
        self._impulse = np.zeros((self._taps, tracks), np.float32)
        self._tail = np.zeros((self._taps - 1, tracks), np.float32)
        self._spectra: dict[int, C64] = {}
        self._old: C64 | None = None
        self._old_delay_s: F64 | None = None

    @property
    def delay_frames(self) -> int:
        return (self._taps - 1) // 2

    def set_response(self, response: NDArray[np.complex128], tracks: Sequence[int] | slice) -> None:
        """Give some tracks another response; it is faded in with the next block."""
        impulse = scipy.fft.irfft(response, GRID, axis=0)
        half = self.delay_frames
        cut = np.concatenate([impulse[-half:], impulse[: half + 1]])
        self._impulse[:, tracks] = (cut * self._window).astype(np.float32)
        for size, spectrum in self._spectra.items():
            if self._old is None or len(self._old) != len(spectrum):
                self._old = spectrum.copy()
            spectrum[:, tracks] = scipy.fft.rfft(self._impulse[:, tracks], size, axis=0)

    def process(
        self, block: F32, delay_s: F64 | None = None, slope_per_hz: float = 0.0
    ) -> tuple[F32, F32 | None, C64]:
        """Filter a block (frames, tracks).

        `delay_s`, a small further delay per track, glides from its last value. With
        `slope_per_hz` the second result is the output multiplied in frequency by `slope_per_hz`
        times frequency (the derivative of a spacing loss), else None. The third is the spectrum
        of the input, for `through`.
        """
        frames = len(block)
        signal = np.concatenate([self._tail, block])
        self._tail = signal[frames:]
        size = scipy.fft.next_fast_len(len(signal), real=True)
        spectrum = scipy.fft.rfft(signal, size, axis=0)
        if size not in self._spectra:
            self._spectra = {size: scipy.fft.rfft(self._impulse, size, axis=0)}
            self._old = None
        now, old = self._spectra[size], self._old
        glides = delay_s is not None and self._old_delay_s is not None
        end = spectrum * now
        if delay_s is not None:
            end *= self._phase(delay_s, size)
        result = self._back(end, size, frames)
        if old is not None or glides:
            begin = spectrum * (now if old is None else old)
            if delay_s is not None and self._old_delay_s is not None:
                begin *= self._phase(self._old_delay_s, size)
            ramp = ((np.arange(frames, dtype=np.float32) + 1) / frames)[:, np.newaxis]
            before = self._back(begin, size, frames)
            result = before + ramp * (result - before)
        sloped = None
        if slope_per_hz:
            bins = np.arange(len(end), dtype=np.float32)[:, np.newaxis]
            bins *= np.float32(slope_per_hz * self._rate_hz / size)
            sloped = self._back(end * bins, size, frames)
        self._old = None
        self._old_delay_s = None if delay_s is None else delay_s.copy()
        return result, sloped, end

    def rest(self) -> None:
        """Forget what went in, as after a pause."""
        self._tail = np.zeros_like(self._tail)
        self._old = None
        self._old_delay_s = None

    def through(self, end: C64, gain: F64, tracks: Sequence[int], frames: int) -> F32:
        """The block just filtered once more, with a gain (grid) on top, for some tracks."""
        size = scipy.fft.next_fast_len(self._taps - 1 + frames, real=True)
        at = np.linspace(0.0, len(gain) - 1.0, len(end))
        shaped = np.interp(at, np.arange(len(gain)), gain).astype(np.float32)[:, np.newaxis]
        return self._back(end[:, tracks] * shaped, size, frames)

    def _back(self, spectrum: C64, size: int, frames: int) -> F32:
        start = self._taps - 1
        return scipy.fft.irfft(spectrum, size, axis=0)[start : start + frames]

    def _phase(self, delay_s: F64, size: int) -> C64:
        step = (-2.0 * np.pi * self._rate_hz / size * delay_s).astype(np.float32)
        angle = np.arange(size // 2 + 1, dtype=np.float32)[:, np.newaxis] * step
        phase = np.empty(angle.shape, np.complex64)
        np.cos(angle, out=phase.real)
        np.sin(angle, out=phase.imag)
        return phase


class MovingDelay:
    """Reads a signal at moving fractional positions, 16 points of a windowed sinc each."""

    POINTS = 16
    PHASES = 4096
    STRIDE = 60

    def __init__(self) -> None:
        offset = np.arange(self.PHASES + 1)[:, np.newaxis] / self.PHASES
        x = np.arange(self.POINTS) - (self.POINTS // 2 - 1) - offset
        window = np.i0(8.0 * np.sqrt(np.maximum(0.0, 1.0 - (x / (self.POINTS / 2)) ** 2))) / np.i0(8.0)
        table = np.sinc(x) * window
        self._table = (table / table.sum(axis=1, keepdims=True)).astype(np.float32)

    def span(self, positions: F64) -> tuple[int, int]:
        """First position and number of source frames that these positions need."""
        first = int(np.floor(positions.min())) - self.POINTS
        return first, int(np.ceil(positions.max())) + self.POINTS + self.STRIDE + 8 - first

    def read(self, source: F32, first: int, positions: F64) -> F32:
        """Values at `positions` (frames,), of `source` (count, tracks) that begins at `first`."""
        frames, stride, points = len(positions), self.STRIDE, self.POINTS
        count = -(-frames // stride)
        padded = np.concatenate([positions, np.full(count * stride - frames, positions[-1])])
        whole = np.floor(padded).astype(np.int64)
        phase = np.rint((padded - whole) * self.PHASES).astype(np.int64)
        whole -= first + points // 2 - 1
        begin = whole.reshape(count, stride).min(axis=1)
        local = whole - np.repeat(begin, stride)
        width = int(local.max()) + points
        weights = np.zeros((count, stride, width), np.float32)
        at = (np.arange(count * stride) * width + local)[:, np.newaxis] + np.arange(points)
        weights.ravel()[at.ravel()] = self._table[phase].ravel()
        windows = np.lib.stride_tricks.sliding_window_view(source, width, axis=0)
        pieces = np.ascontiguousarray(windows[begin].transpose(0, 2, 1))
        return np.matmul(weights, pieces).reshape(count * stride, -1)[:frames]
