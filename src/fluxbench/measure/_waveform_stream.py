"""What makes samples unfit, watched block by block."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._blocks import SpectralBlock
from fluxbench.measure._validity import FULL_SCALE, clipped_run, dc_is_too_much, longest_run

_ABSURD = 1e4
"""A sample so far above full scale cannot be worked on in single precision."""


class WaveformWatch:
    """Gathers the validity of every track; unfit tracks of a block are silenced in place.

    `frequency_hz` is that of the lowest tone, which says how long a sine stays near its top.
    """

    def __init__(self, tracks: int, rate_hz: float, frequency_hz: float) -> None:
        self._longest = clipped_run(rate_hz, frequency_hz)
        self._not_finite, self._clipped = np.zeros((2, tracks), bool)
        self._sum, self._squares = np.zeros((2, tracks))
        self._frames = 0
        self.peak: NDArray[np.float64] = np.zeros(tracks)
        """Greatest sample of each track so far."""

    def look(self, samples: NDArray[np.float32], first: int) -> bool:
        """Look at frames (tracks, frames), new from `first` on; says whether all are fit."""
        peak = np.maximum(samples.max(axis=1), -samples.min(axis=1)).astype(np.float64)
        finite = np.isfinite(peak)
        absurd = finite & (peak > _ABSURD)
        self._not_finite |= ~finite
        for track in np.flatnonzero(finite & (peak >= FULL_SCALE) & ~self._clipped):
            at_top = np.abs(samples[track]) >= FULL_SCALE * max(peak[track], 1.0)
            self._clipped[track] = absurd[track] or longest_run(at_top) > self._longest
        unfit = ~finite | absurd
        samples[unfit] = 0.0
        self.peak = np.maximum(self.peak, np.where(finite, peak, np.inf))
        new = samples[:, first:]
        self._sum += new.sum(axis=1)
        self._squares += np.einsum("ij,ij->i", new, new)
        self._frames += new.shape[1]
        return not unfit.any()

    def also(self, other: "WaveformWatch") -> None:
        """Take in what another one saw of the same tracks."""
        self._not_finite |= other._not_finite
        self._clipped |= other._clipped
        self._sum += other._sum
        self._squares += other._squares
        self._frames += other._frames
        self.peak = np.maximum(self.peak, other.peak)

    def validity(self, too_short: bool = False) -> tuple[Validity, ...]:
        """What is known against each track by now."""
        frames = max(self._frames, 1)
        mean = self._sum / frames
        rms = np.sqrt(np.maximum(self._squares / frames - mean**2, 0.0))
        reasons = (
            (self._not_finite, Validity.NOT_FINITE),
            (np.full(len(mean), too_short), Validity.TOO_SHORT),
            (self._clipped, Validity.CLIPPED),
            (dc_is_too_much(mean, rms), Validity.DC),
        )
        return tuple(
            next((reason for against, reason in reasons if against[track]), Validity.OK)
            for track in range(len(mean))
        )


def watched(block: SpectralBlock, watch: WaveformWatch, overlap: int) -> None:
    """Let the watch look at what is new in a block; the spectrum of unfit tracks is silenced."""
    samples = block.samples[:, : block.used]
    if not watch.look(samples, overlap if block.first_frame else 0):
        block.spectrum[~np.isfinite(block.spectrum).all(axis=1)] = 0.0
        block.spectrum[~samples.any(axis=1)] = 0.0
