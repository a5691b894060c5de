"""What wanders: sums of sines for flutter, contact and skew, and reading between samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.decks._magnetics import Floats

Samples = NDArray[np.float32]
TAPS = 16
_PHASES = 1024
_GROUP = 32


class Wander:
    """A sum of sines per row, exact at any time: amplitude is complex (rows, parts)."""

    def __init__(self, frequency_hz: Floats, amplitude: NDArray[np.complex128]) -> None:
        self.frequency_hz = frequency_hz
        self.amplitude = amplitude

    def at(self, time_s: float) -> Floats:
        """Values of all rows at one moment, shape (rows,)."""
        return np.asarray((self.amplitude @ np.exp(2j * np.pi * self.frequency_hz * time_s)).real)


def band_wander(
    rng: np.random.Generator, rows: int, low_hz: float, high_hz: float, rms: float, shared: float
) -> Wander:
    """Random wander between two frequencies, its parts shared with the neighbour rows."""
    parts = 28
    frequency_hz = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), parts))
    own = rng.standard_normal((rows + 2, parts)) + 1j * rng.standard_normal((rows + 2, parts))
    mixed = own[1:-1] + shared * (own[:-2] + own[2:])
    power = np.sum(np.abs(mixed) ** 2, axis=1, keepdims=True) / 2.0
    return Wander(frequency_hz, mixed * rms / np.sqrt(power))


class Flutter:
    """Tape displacement in samples against deck time, from the peak speed deviation of parts."""

    def __init__(
        self, frequency_hz: Floats, peak: Floats, phase_rad: Floats, rate_hz: float, frames: int
    ) -> None:
        self._radian_per_frame = 2.0 * np.pi * frequency_hz / rate_hz
        self._start = peak / self._radian_per_frame * np.exp(1j * phase_rad)
        turns = np.outer(self._radian_per_frame, np.arange(frames))
        self._cos, self._sin = np.cos(turns), np.sin(turns)

    def displacement(self, first_frame: int, frames: int) -> Floats:
        """Displacement (frames,) in samples, from deck frame ``first_frame`` on."""
        now = self._start * np.exp(1j * self._radian_per_frame * first_frame)
        return np.asarray(now.real @ self._cos[:, :frames] - now.imag @ self._sin[:, :frames])


def _kernels() -> Samples:
    """Kaiser-windowed sinc, (phases + 1, taps): row f reads f/phases past tap TAPS/2 - 1."""
    fraction = np.arange(_PHASES + 1)[:, None] / _PHASES
    distance = np.arange(TAPS)[None, :] - (TAPS // 2 - 1) - fraction
    window = np.i0(8.0 * np.sqrt(np.clip(1.0 - (distance / (TAPS / 2)) ** 2, 0.0, None)))
    table = np.sinc(distance) * window
    return np.asarray(table / table.sum(axis=1, keepdims=True), dtype=np.float32)


_TABLE = _kernels()


def read_between(window: Samples, position: Floats) -> Samples:
    """Samples of (rows, frames) ``window`` at fractional, slowly varying ``position``s."""
    frames = len(position)
    groups = -(-frames // _GROUP)
    padded = np.append(position, np.full(groups * _GROUP - frames, position[-1]))
    whole = np.floor(padded).astype(np.int64)
    phase = np.rint((padded - whole) * _PHASES).astype(np.int64)
    whole = whole.reshape(groups, _GROUP) - (TAPS // 2 - 1)
    first = whole.min(axis=1)
    span = int((whole.max(axis=1) - first).max()) + TAPS
    matrix = np.zeros((groups, span, _GROUP), dtype=np.float32)
    column = np.arange(groups)[:, None] * (span * _GROUP) + np.arange(_GROUP)
    taps = (column + (whole - first[:, None]) * _GROUP).reshape(-1, 1) + np.arange(TAPS) * _GROUP
    matrix.reshape(-1)[taps] = _TABLE[phase]
    pieces = window[:, first[:, None] + np.arange(span)]  # (rows, groups, span)
    read = np.matmul(pieces.transpose(1, 0, 2), matrix)  # (groups, rows, _GROUP)
    return np.ascontiguousarray(read.transpose(1, 0, 2).reshape(len(window), -1)[:, :frames])
