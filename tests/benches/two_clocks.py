"""A loop-back between two devices whose clocks differ, and a driver that makes up for it."""

from dataclasses import dataclass

import numpy as np

from fluxbench.base import Block, Flag


@dataclass
class TwoClocks:
    """What the output sends is heard by an input whose clock is `drift_ppm` faster.

    The frames between the two lie in the driver's buffer. Where its fill has moved by two periods
    it leaves out a period, or repeats one, so that it is back by one: told by a flag, or `silent`.
    """

    drift_ppm: float
    silent: bool = False
    rate_hz: int = 48_000
    period: int = 256
    delay: int = 2048
    hiss: float = 1e-4
    inputs: int = 1
    outputs: int = 1
    slips: int = 0
    greatest_fill: float = 0.0
    """Periods re where it began."""
    _frame: int = 0
    _jumped: int = 0

    def __post_init__(self) -> None:
        self._sent = np.zeros((self.delay + 8 * self.period, self.outputs), np.float32)
        self._sent_from = -len(self._sent)
        self._random = np.random.default_rng(11)

    def exchange(self, send: np.ndarray) -> Block:
        first, frames = self._frame, len(send)
        self._sent = np.concatenate([self._sent, send])
        # The input's frame n is taken at n / (1 + d) of the output's frames.
        passed = 1.0 / (1.0 + 1e-6 * self.drift_ppm)
        fill = (first + frames) * (1.0 - passed) - self._jumped
        self.greatest_fill = max(self.greatest_fill, abs(fill) / self.period)
        flags = Flag.NONE
        if abs(fill) >= 2 * self.period:
            self._jumped += round(np.sign(fill)) * self.period
            self.slips += 1
            flags = Flag.NONE if self.silent else Flag.INPUT_LOST
        at = np.arange(first, first + frames) * passed + self._jumped - self.delay
        out = self._between(at - self._sent_from)
        keep = int(at[-1]) - self._sent_from - 4 * self.period
        if keep > 0:
            self._sent, self._sent_from = self._sent[keep:], self._sent_from + keep
        self._frame += frames
        noise = self.hiss * self._random.standard_normal(out.shape, np.float32)
        return Block((out + noise).astype(np.float32), first, flags)

    def _between(self, place: np.ndarray) -> np.ndarray:
        """Samples at places that are no whole frames: Lagrange's cubic (closed form)."""
        low = np.floor(place).astype(np.int64)
        x = (place - low)[:, np.newaxis]
        a, b, c, d = (self._sent[low + n] for n in (-1, 0, 1, 2))
        return np.asarray(
            -a * x * (x - 1) * (x - 2) / 6
            + b * (x + 1) * (x - 1) * (x - 2) / 2
            - c * (x + 1) * x * (x - 2) / 2
            + d * (x + 1) * x * (x - 1) / 6
        )

    def close(self) -> None:
        pass
