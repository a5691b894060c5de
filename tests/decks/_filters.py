"""Filters that may move: overlap-save with a cross-fade from the last response to the new one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tests.decks._magnetics import Floats
from tests.decks._motion import Samples

FFT = 2048
BLOCK = 1024  # greatest number of frames per step
LATENCY = 512  # of every MovingFilter, in frames
_FINE = 64
Response = NDArray[np.complex64]


def grid_hz(rate_hz: float) -> Floats:
    """Frequencies at which a response is sampled."""
    return np.asarray(fft.rfftfreq(FFT, 1.0 / rate_hz))


def band_limit(frequency_hz: Floats, rate_hz: float) -> Floats:
    """Raised cosine from 1 down to 0 below half the rate, so that all responses end short."""
    low_hz = min(0.43 * rate_hz, 30000.0)
    high_hz = min(0.49 * rate_hz, 36000.0)
    part = np.clip((frequency_hz - low_hz) / (high_hz - low_hz), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * part))


def tilt(loss_per_hz: Floats, delay_s: Floats, rate_hz: float) -> Response:
    """exp(-(loss + 2 pi j delay) f) on the grid, exact, one row per track."""
    step = -(loss_per_hz + 2j * np.pi * delay_s) * (rate_hz / FFT)
    coarse = np.exp(step[:, None] * (_FINE * np.arange(FFT // 2 // _FINE + 1)))
    fine = np.exp(step[:, None] * np.arange(_FINE))
    full = coarse.astype(np.complex64)[:, :, None] * fine.astype(np.complex64)[:, None, :]
    return np.asarray(full.reshape(len(step), -1)[:, : FFT // 2 + 1])


class MovingFilter:
    """Convolves (rows, frames) blocks with a response that may differ from block to block."""

    def __init__(self, rows: int) -> None:
        turn = np.exp(-1j * np.pi * np.arange(FFT // 2 + 1) * (2 * LATENCY / FFT))
        self._centre = np.asarray(turn, dtype=np.complex64)
        self._past = np.zeros((rows, FFT), dtype=np.float32)
        self._last: Response | None = None

    def run(self, block: Samples, response: Response) -> Samples:
        """The filtered block, LATENCY frames late; ``response`` holds at the block's end."""
        frames = block.shape[1]
        self._past[:, :-frames] = self._past[:, frames:]
        self._past[:, -frames:] = block
        spectrum = np.asarray(fft.rfft(self._past, axis=1)) * self._centre
        after = fft.irfft(spectrum * response, n=FFT, axis=1)[:, -frames:]
        before, self._last = self._last, response
        if before is None or before is response:
            return np.ascontiguousarray(after, dtype=np.float32)
        old = fft.irfft(spectrum * before, n=FFT, axis=1)[:, -frames:]
        rising = np.arange(1, frames + 1, dtype=np.float32) / np.float32(frames)
        return np.asarray(old + (after - old) * rising, dtype=np.float32)
