"""The signal-processing blocks of the deck: FIRs that may change, and a delay that moves."""

from collections.abc import Sequence
from functools import lru_cache

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
    return np.arange(GRID // 2 + 1, dtype=np.float64) * (rate_hz / GRID)


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
        self._size = 0
        self._now = np.zeros((0, tracks), np.complex64)
        self._old: C64 | None = None
        self._changed = np.zeros(tracks, np.bool_)
        self._old_phase: C64 | None = None

    @property
    def delay_frames(self) -> int:
        return (self._taps - 1) // 2

    def set_response(
        self, response: NDArray[np.complex128] | F64, tracks: NDArray[np.int_]
    ) -> None:
        """Give some tracks another response; it is faded in with the next block."""
        impulse = scipy.fft.irfft(response, GRID, axis=0)
        half = self.delay_frames
        cut = np.concatenate([impulse[-half:], impulse[: half + 1]])
        self._impulse = self._impulse.copy()
        self._impulse[:, tracks] = (cut * self._window).astype(np.float32)
        if self._size:
            if self._old is None:
                self._old = self._now
                self._changed = np.zeros_like(self._changed)
            else:
                self._changed = self._changed.copy()
            self._changed[tracks] = True
            self._now = self._now.copy()
            self._now[:, tracks] = scipy.fft.rfft(self._impulse[:, tracks], self._size, axis=0)

    def process(self, block: F32) -> F32:
        """Filter a block (frames, tracks)."""
        frames = len(block)
        spectrum = self._transformed(block)
        result = self._back(spectrum * self._now, frames)
        if self._old is not None:
            moved = np.flatnonzero(self._changed)
            before = self._back(spectrum[:, moved] * self._old[:, moved], frames)
            result[:, moved] = before + _ramp(frames) * (result[:, moved] - before)
            self._old = None
        return result

    def process_moving(self, block: F32, delay_s: F64, slope_per_hz: float) -> tuple[F32, F32, C64]:
        """Filter a block (frames, tracks) with a small further delay per track, which glides.

        The second result is the output multiplied in frequency by `slope_per_hz` times frequency
        (the derivative of a spacing loss). The third is the spectrum, for `through`.
        """
        frames = len(block)
        spectrum = self._transformed(block)
        phase = self._phase(delay_s)
        end = spectrum * self._now
        end *= phase
        result = self._back(end, frames)
        if self._old_phase is not None and len(self._old_phase) == len(phase):
            begin = spectrum * (self._now if self._old is None else self._old)
            begin *= self._old_phase
            before = self._back(begin, frames)
            result -= before
            result *= _ramp(frames)
            result += before
        self._old, self._old_phase = None, phase
        bins = np.arange(len(end), dtype=np.float32)[:, np.newaxis]
        bins *= np.float32(slope_per_hz * self._rate_hz / self._size)
        return result, self._back(end * bins, frames), end

    def rest(self) -> None:
        """Forget what went in, as after a pause."""
        self._tail = np.zeros_like(self._tail)
        self._old = None
        self._old_phase = None

    def through(self, end: C64, gain: F64, tracks: Sequence[int], frames: int) -> F32:
        """The block just filtered once more, with a gain (grid) on top, for some tracks."""
        at = np.linspace(0.0, len(gain) - 1.0, len(end))
        shaped = np.interp(at, np.arange(len(gain)), gain).astype(np.float32)[:, np.newaxis]
        return self._back(end[:, tracks] * shaped, frames)

    def _transformed(self, block: F32) -> C64:
        signal = np.concatenate([self._tail, block])
        self._tail = signal[len(block) :]
        size = scipy.fft.next_fast_len(len(signal), real=True)
        if size != self._size:
            self._size = size
            self._now = scipy.fft.rfft(self._impulse, size, axis=0)
            self._old = None
        return np.asarray(scipy.fft.rfft(signal, size, axis=0))

    def _back(self, spectrum: C64, frames: int) -> F32:
        start = self._taps - 1
        whole = scipy.fft.irfft(spectrum, self._size, axis=0, overwrite_x=True)
        return np.asarray(whole[start : start + frames])

    def _phase(self, delay_s: F64) -> C64:
        """Turn of each line by a delay, as a coarse turn times a fine one: few sines for many."""
        lines = self._size // 2 + 1
        coarse = np.arange(-(-lines // _FINE))[:, np.newaxis, np.newaxis] * _FINE
        fine = np.arange(_FINE)[:, np.newaxis]
        step = -2j * np.pi * self._rate_hz / self._size * delay_s
        far, near = np.exp(step * coarse), np.exp(step * fine)
        phase = far.astype(np.complex64) * near.astype(np.complex64)
        return np.asarray(phase.reshape(-1, len(delay_s))[:lines])


_FINE = 32


@lru_cache(maxsize=8)
def _ramp(frames: int) -> F32:
    ramp: F32 = (np.arange(frames, dtype=np.float32) + np.float32(1)) / np.float32(frames)
    return ramp[:, np.newaxis]


class MovingDelay:
    """Reads a signal at moving fractional positions, some points of a windowed sinc each.

    16 points; 64 where 20 kHz lies so near half the rate (44.1 kHz) that its image would come back
    with it, swaying as the tape does.
    """

    PHASES = 4096
    STRIDE = 24

    def __init__(self, rate_hz: float) -> None:
        self.points = 64 if 0.43 < 20_000.0 / rate_hz < 0.5 else 16
        offset = np.arange(self.PHASES + 1)[:, np.newaxis] / self.PHASES
        x = np.arange(self.points) - (self.points // 2 - 1) - offset
        inside = np.maximum(0.0, 1.0 - (x / (self.points / 2)) ** 2)
        table = np.sinc(x) * np.i0(8.0 * np.sqrt(inside))
        self._table = (table / table.sum(axis=1, keepdims=True)).astype(np.float32)

    def span(self, positions: F64) -> tuple[int, int]:
        """First position and number of source frames that these positions need."""
        first = int(np.floor(positions.min())) - self.points
        return first, int(np.ceil(positions.max())) + self.points + self.STRIDE + 8 - first

    def read(self, source: F32, first: int, positions: F64) -> F32:
        """Values at `positions` (frames,), of `source` (count, tracks) that begins at `first`."""
        frames, stride, points = len(positions), self.STRIDE, self.points
        count = -(-frames // stride)
        padded = np.concatenate([positions, np.full(count * stride - frames, positions[-1])])
        whole = np.floor(padded)
        phase = np.rint((padded - whole) * self.PHASES).astype(np.int64)
        local = whole.astype(np.int64).reshape(count, stride) - (first + points // 2 - 1)
        begin = local.min(axis=1)
        local -= begin[:, np.newaxis]
        width = int(local.max()) + points
        weights = np.zeros(count * stride * width, np.float32)
        places = np.lib.stride_tricks.sliding_window_view(weights, points, writeable=True)
        places[np.arange(count * stride) * width + local.ravel()] = self._table[phase]
        windows = np.lib.stride_tricks.sliding_window_view(source, width, axis=0)
        pieces = windows[begin].transpose(0, 2, 1)
        read = np.matmul(weights.reshape(count, stride, width), pieces)
        return np.asarray(read.reshape(count * stride, -1)[:frames])
