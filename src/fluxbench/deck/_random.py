"""What never stands still: contact, skew, flutter, noise. All of it from seeded generators."""

import numpy as np
import scipy.signal
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


class SlowNoise:
    """Band-limited random curves, one per column, at 200 points a second, rms 1.

    `mix` (columns, columns) spreads the curves over one another (neighbours share a part).
    """

    POINTS_PER_S = 200.0
    CHUNK = 4000

    def __init__(
        self, low_hz: float, high_hz: float, mix: F64, rng: np.random.Generator
    ) -> None:
        self._rng = rng
        self._mix = mix / np.sqrt((mix**2).sum(axis=0))
        self._sos = scipy.signal.butter(
            1, [low_hz, high_hz], "bandpass", fs=self.POINTS_PER_S, output="sos"
        )
        impulse = scipy.signal.sosfilt(self._sos, np.eye(1, 20000)[0])
        self._scale = 1.0 / np.sqrt((impulse**2).sum())
        self._state = np.zeros((len(self._sos), 2, mix.shape[1]))
        self._chunk = np.zeros((0, mix.shape[1]))
        self._begin = 0
        self._more(warm=True)

    def _more(self, warm: bool = False) -> None:
        white = self._rng.standard_normal((self.CHUNK, self._mix.shape[0])) @ self._mix
        curve, self._state = scipy.signal.sosfilt(
            self._sos, white * self._scale, axis=0, zi=self._state
        )
        if warm:
            self._chunk = curve
            return
        kept = self._chunk[-8:]
        self._begin += len(self._chunk) - len(kept)
        self._chunk = np.concatenate([kept, curve])

    def over(self, start_s: float, frames: int, rate_hz: float) -> F32:
        """The curves (frames, columns) from a time on; times may only advance."""
        step = self.POINTS_PER_S / rate_hz
        first = start_s * self.POINTS_PER_S
        while first + frames * step + 2 >= self._begin + len(self._chunk):
            self._more()
        low = int(first)
        count = int(first + frames * step) + 2 - low
        knots = self._chunk[low - self._begin : low - self._begin + count].astype(np.float32)
        at = (first - low) + np.arange(frames) * step
        whole = at.astype(np.int64)
        part = (at - whole).astype(np.float32)[:, np.newaxis]
        return knots[whole] * (1.0 - part) + knots[whole + 1] * part

    def at(self, time_s: float) -> F64:
        """The curves' values (columns,) at a time not before the last one asked for."""
        return self.over(time_s, 1, self.POINTS_PER_S)[0].astype(np.float64)


def neighbours(tracks: int, share: float) -> F64:
    """A mixing matrix in which a track shares a part of its curve with those beside it."""
    distance = np.abs(np.subtract.outer(np.arange(tracks), np.arange(tracks)))
    return np.asarray(np.where(distance == 0, 1.0, share * 0.6 ** (distance - 1.0)))


class NoiseLoop:
    """Gaussian noise for all tracks from one long loop, each track somewhere else in it."""

    def __init__(self, frames: int, tracks: int, rng: np.random.Generator, sos: F64 | None = None) -> None:
        loop = rng.standard_normal(frames)
        if sos is not None:
            spun = scipy.signal.sosfilt(sos, np.concatenate([loop, loop]))[frames:]
            loop = spun / spun.std()
        self._loop = loop.astype(np.float32)
        self._at = rng.integers(0, frames, tracks)

    def next(self, frames: int) -> F32:
        """The next frames (frames, tracks), rms 1."""
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

    def __init__(self, speed_ips: float, offset: float, amount: float, rng: np.random.Generator) -> None:
        speed_mm = 25.4 * speed_ips
        self.parts = {
            "reel": (speed_mm / (2 * np.pi * 90.0), 2.0e-4),
            "pinch roller": (speed_mm / (np.pi * 40.0), 1.0e-4),
            "capstan": (speed_mm / (np.pi * 10.0), 1.2e-4),
            "idler": (speed_mm / (np.pi * 30.0), 0.8e-4),
            "bearing": (27.0 * speed_ips / 15.0, 0.8e-4),
            "motor": (100.0, 0.5e-4),
        }
        self._offset = offset
        self._frequency_hz = np.array([f for f, _ in self.parts.values()])
        size = np.array([a for _, a in self.parts.values()]) * amount
        self._size_s = size / (2 * np.pi * self._frequency_hz)
        self._phase = rng.uniform(0, 2 * np.pi, len(self.parts))
        self._noise = SlowNoise(0.3, 40.0, np.ones((1, 1)), rng)
        self._noise_s = amount * 1.5e-6

    def lead_s(self, time_s: F64, start_s: float) -> F64:
        """Lead at evenly spaced `time_s` (frames,) that begin at `start_s` (only advancing)."""
        turns = np.outer(time_s, 2 * np.pi * self._frequency_hz) + self._phase
        lead = np.sin(turns) @ self._size_s + self._offset * time_s
        rate_hz = 1.0 / (time_s[1] - time_s[0])
        noise = self._noise.over(start_s, len(time_s), rate_hz)[:, 0]
        return np.asarray(lead + self._noise_s * noise)
