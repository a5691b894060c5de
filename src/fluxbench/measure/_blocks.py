"""Spectra of overlapping blocks, and any band of them as an envelope of few points.

Overlap-save: one transform a block gives every band that is wanted, without the ends of a block
showing. It is what lets one pass over an hour of tape measure all there is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.measure._spectrum import Samples
from fluxbench.measure._windows import kaiser_low_pass

_PART_OF_BLOCK = 8
"""A block shares this part of its frames with the next."""
_STOP_DB = 100.0
_TAPS_PER_TRANSITION = 6.4
"""Length of a filter that stops 100 dB, times its transition in Hz (Kaiser's design)."""


def block_seconds(transition_hz: float) -> float:
    """Shortest block whose overlap holds a filter with this transition."""
    return _PART_OF_BLOCK * _TAPS_PER_TRANSITION / transition_hz


@dataclass(frozen=True, slots=True)
class SpectralBlock:
    """The spectrum of one block, `spectrum` (tracks, lines), and the samples that it is of.

    `samples` is (tracks, frames) and lives until the next block only. `used` frames of it were
    there; the last block is filled up with silence.
    """

    spectrum: NDArray[np.complex64]
    samples: NDArray[np.float32]
    first_frame: int
    used: int


class Blocks:
    """Cuts frames into blocks of about so many seconds, each an eighth over the one before."""

    def __init__(self, rate_hz: float, tracks: int, seconds: float) -> None:
        eighth = int(np.ceil(seconds * rate_hz / _PART_OF_BLOCK))
        self.frames = _PART_OF_BLOCK * 2 * int(fft.next_fast_len((eighth + 1) // 2, real=True))
        self.overlap = self.frames // _PART_OF_BLOCK
        self.hop = self.frames - self.overlap
        self.rate_hz = rate_hz
        self.total = 0
        self._buffer = np.zeros((tracks, self.frames), np.float32)
        self._filled = 0
        self._first = 0

    @property
    def held(self) -> NDArray[np.float32]:
        """The frames that no block has ended with yet, (tracks, frames)."""
        return self._buffer[:, : self._filled]

    def add(self, samples: Samples) -> Iterator[SpectralBlock]:
        """Take frames (frames, tracks) and give the blocks that they complete."""
        taken = 0
        self.total += len(samples)
        while taken < len(samples):
            some = min(self.frames - self._filled, len(samples) - taken)
            self._buffer[:, self._filled : self._filled + some] = samples[taken : taken + some].T
            self._filled += some
            taken += some
            if self._filled == self.frames:
                yield self._block()
                self._move_on()

    def rest(self) -> Iterator[SpectralBlock]:
        """The last, shorter block, if frames are left that no block has had in its middle."""
        if self._filled > self.overlap or (self._first == 0 and self._filled):
            self._buffer[:, self._filled :] = 0.0
            yield self._block()

    def let_go(self) -> None:
        """Let the frames that are held go; nothing can be added afterwards."""
        self._buffer = self._buffer[:, :0].copy()
        self._filled = 0

    def _block(self) -> SpectralBlock:
        spectrum = fft.rfft(self._buffer, axis=1)
        return SpectralBlock(spectrum, self._buffer, self._first, self._filled)

    def _move_on(self) -> None:
        self._buffer[:, : self.overlap] = self._buffer[:, self.hop :]
        self._filled = self.overlap
        self._first += self.hop


@lru_cache(maxsize=64)
def _low_pass(
    frames: int, overlap: int, rate_hz: float, cut_off_hz: float, lines: int
) -> NDArray[np.float64]:
    """Gain of a filter that stops 100 dB, at so many lines to either side; not to be written to."""
    taps = kaiser_low_pass(overlap + 1, cut_off_hz, rate_hz, _STOP_DB)
    padded = np.zeros(frames)
    padded[: len(taps)] = taps
    shape = np.abs(fft.rfft(np.roll(padded, -(len(taps) // 2))))[: lines + 1]
    return np.concatenate([shape[:0:-1], shape])


class EnvelopeCut:
    """Cuts a band out of spectra: the envelope around its middle at a lower rate.

    The band is `half_hz` wide to either side of about `centre_hz` and flat to 1e-5; the points
    come at `rate_hz` or a little more. A sine of amplitude A has an envelope of size A. `middle`
    is the line of a block's spectrum that the band is centred on.
    """

    def __init__(
        self, blocks: Blocks, centre_hz: float, half_hz: float, rate_hz: float = 0.0
    ) -> None:
        block_s = blocks.frames / blocks.rate_hz
        transition_hz = _PART_OF_BLOCK * _TAPS_PER_TRANSITION / block_s
        self._lines = int((half_hz + transition_hz) * block_s) + 1
        wanted = max(2 * self._lines + 2, int(np.ceil(rate_hz * block_s)))
        self.points = 16 * int(fft.next_fast_len(-(-wanted // 16)))
        self.rate_hz = self.points / block_s
        self.half_hz = half_hz
        self.middle = 8 * round(centre_hz * block_s / 8)
        self.centre_hz = self.middle / block_s
        cut_off_hz = min(half_hz + transition_hz / 2, 0.499 * blocks.rate_hz)
        shape = _low_pass(blocks.frames, blocks.overlap, blocks.rate_hz, cut_off_hz, self._lines)
        self._shape = (shape * 2.0 / blocks.frames * self.points).astype(np.float32)
        self._edge = self.points // (2 * _PART_OF_BLOCK)

    @property
    def first_s(self) -> float:
        """Time of the first point, from the first frame."""
        return self._edge / self.rate_hz

    def of(self, block: SpectralBlock, frames: int) -> NDArray[np.complex64]:
        """Envelope over the middle of a block, (tracks, points); less if it was not full."""
        lines = block.spectrum.shape[1]
        low, high = self.middle - self._lines, self.middle + self._lines + 1
        inside = slice(max(low, 0), max(min(high, lines), max(low, 0)))
        cut = np.zeros((len(block.spectrum), self.points), np.complex64)
        middle = min(max(self.middle, inside.start), inside.stop)
        for some in (slice(inside.start, middle), slice(middle, inside.stop)):
            if some.start < some.stop:
                place = (some.start - self.middle) % self.points
                np.multiply(
                    block.spectrum[:, some],
                    self._shape[some.start - low : some.stop - low],
                    out=cut[:, place : place + some.stop - some.start],
                )
        envelope = fft.ifft(cut, axis=1, overwrite_x=True)
        used = int(block.used * self.points / frames)
        return np.asarray(envelope[:, self._edge : max(used - self._edge, self._edge)])
