"""What never stands still: contact, skew, flutter, noise. All of it from seeded generators."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from fluxbench.deck._product import product
from fluxbench.trade import MM_PER_INCH

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Band:
    """A band of a slow noise, with its rms in whatever the curve is measured in."""

    low_hz: float
    high_hz: float
    rms_ratio: float


class SlowNoise:
    """Band-limited random curves, one per column, at 200 points a second.

    `mix` (columns, columns) spreads the curves over one another (neighbours share a part).
    """

    POINTS_PER_S = 200.0
    CHUNK = 4000

    def __init__(self, bands: Sequence[Band], mix: F64, rng: np.random.Generator) -> None:
        self._rng = rng
        self._mix = mix / np.sqrt((mix**2).sum(axis=0))
        self._bands = []
        for band in bands:
            sos, rms = _band_pass(band.low_hz, band.high_hz, self.POINTS_PER_S)
            scale = band.rms_ratio / rms
            self._bands.append((sos, scale, np.zeros((len(sos), 2, mix.shape[1]))))
        self._curve()  # the first 20 s settle
        self._chunk = self._curve()
        self._begin = 0

    def _curve(self) -> F32:
        total = np.zeros((self.CHUNK, self._mix.shape[1]))
        for sos, scale, state in self._bands:
            white = self._rng.standard_normal(total.shape) @ self._mix
            curve, state[:] = scipy.signal.sosfilt(sos, white * scale, axis=0, zi=state)
            total += curve
        return total.astype(np.float32)

    def over(self, start_s: float, frames: int, rate_hz: float) -> F32:
        """Curves (frames, columns) from a time on, which may go back by half a second at most."""
        step = self.POINTS_PER_S / rate_hz
        first = start_s * self.POINTS_PER_S
        while first + frames * step + 2 >= self._begin + len(self._chunk):
            kept = self._chunk[max(0, int(first) - self._begin - 100) :]
            self._begin += len(self._chunk) - len(kept)
            self._chunk = np.concatenate([kept, self._curve()])
        low = int(first)
        count = int(first + frames * step) + 2 - low
        knots = self._chunk[low - self._begin : low - self._begin + count]
        return product(_evenly_between(round(first - low, 6), step, frames, count), knots)

    def at(self, time_s: float) -> F64:
        """The curves' values (columns,) at one time."""
        return np.asarray(self.over(time_s, 1, self.POINTS_PER_S)[0], np.float64)


@lru_cache(maxsize=64)
def _band_pass(low_hz: float, high_hz: float, rate_hz: float) -> tuple[F64, float]:
    """Sections of a band-pass, not to be written to, and the rms of white noise through it."""
    sos = scipy.signal.butter(1, [low_hz, high_hz], "bandpass", fs=rate_hz, output="sos")
    impulse = scipy.signal.sosfilt(sos, np.eye(1, 20_000)[0])
    return sos, float(np.sqrt((impulse**2).sum()))


@lru_cache(maxsize=16)
def _evenly_between(first: float, step: float, frames: int, count: int) -> F32:
    """Weights of `between` for even places; most blocks begin at the same place among knots."""
    return between(first + step * np.arange(frames, dtype=np.float64), count)


def between(at: F64, count: int) -> F32:
    """Weights (points, count) that read `count` knots at fractional places, in straight lines."""
    apart = at.astype(np.float32)[:, np.newaxis] - np.arange(count, dtype=np.float32)
    np.abs(apart, out=apart)
    np.subtract(1.0, apart, out=apart)
    return np.maximum(apart, 0.0, out=apart)


def neighbours(tracks: int, share: float) -> F64:
    """A mixing matrix in which a track shares a part of its curve with those beside it."""
    distance = np.abs(np.subtract.outer(np.arange(tracks), np.arange(tracks)))
    return np.asarray(np.where(distance == 0, 1.0, share * 0.6 ** (distance - 1.0)))


class WhiteNoise:
    """White noise for all tracks, rms 1: pieces of a table of 4 s, begun at random places."""

    SECONDS = 4

    def __init__(self, rate_hz: int, tracks: int, rng: np.random.Generator) -> None:
        self.rng = rng
        self._table = rng.standard_normal((self.SECONDS * rate_hz, tracks), np.float32)

    def next(self, frames: int) -> F32:
        """The next frames (frames, tracks), at most 4 s; a view, not to be written to."""
        begin = int(self.rng.integers(0, len(self._table) - frames + 1))
        return self._table[begin : begin + frames]


class NoiseLoop:
    """Filtered noise for all tracks, rms 1, from one long loop; each track is elsewhere in it."""

    def __init__(self, frames: int, tracks: int, sos: F64, rng: np.random.Generator) -> None:
        loop = rng.standard_normal(frames)
        spun = scipy.signal.sosfilt(sos, np.concatenate([loop, loop]))[frames:]
        self._loop = (spun / spun.std()).astype(np.float32)
        self._at = rng.integers(0, frames, tracks)

    def next(self, frames: int) -> F32:
        """The next frames (frames, tracks), fewer than the loop has."""
        out = np.empty((frames, len(self._at)), np.float32)
        size = len(self._loop)
        for track, at in enumerate(self._at):
            end = at + frames
            if end <= size:
                out[:, track] = self._loop[at:end]
            else:
                out[: size - at, track] = self._loop[at:]
                out[size - at :, track] = self._loop[: end - size]
        self._at = (self._at + frames) % size
        return out


class Flutter:
    """The tape's lead or lag against even motion, in seconds, from named parts and a noise band."""

    KNOT_FRAMES = 16

    def __init__(
        self, rate_hz: int, speed_ips: float, error_ratio: float, rng: np.random.Generator
    ) -> None:
        speed_mm = MM_PER_INCH * speed_ips
        self.parts = {
            "reel": (speed_mm / (2 * np.pi * 90.0), 2.0e-4),
            "pinch roller": (speed_mm / (np.pi * 40.0), 1.0e-4),
            "capstan": (speed_mm / (np.pi * 10.0), 1.2e-4),
            "idler": (speed_mm / (np.pi * 30.0), 0.8e-4),
            "bearing": (27.0 * speed_ips / 15.0, 0.8e-4),
            "motor": (100.0, 0.5e-4),
        }
        """Rate in Hz and peak of the relative speed of each part that turns unevenly."""
        self._rate_hz = rate_hz
        self._error = error_ratio
        self._frequency_hz = np.array([f for f, _ in self.parts.values()])
        size = np.array([a for _, a in self.parts.values()])
        self._size_s = size / (2 * np.pi * self._frequency_hz)
        self._phase = rng.uniform(0, 2 * np.pi, len(self.parts))
        self._noise = SlowNoise([Band(0.3, 40.0, 1.5e-6)], np.ones((1, 1)), rng)

    def lead_s(self, first_frame: int, frames: int) -> F64:
        """Lead (frames,) from a frame on; like all slow noise it may go back 30 ms at most."""
        step = self.KNOT_FRAMES
        count = (frames - 1) // step + 2
        knots_s = (first_frame + step * np.arange(count)) / self._rate_hz
        turns = np.outer(knots_s, 2 * np.pi * self._frequency_hz) + self._phase
        lead = np.sin(turns) @ self._size_s + self._error * knots_s
        lead += self._noise.over(float(knots_s[0]), count, self._rate_hz / step)[:, 0]
        return np.interp(np.arange(frames), step * np.arange(count), lead)
