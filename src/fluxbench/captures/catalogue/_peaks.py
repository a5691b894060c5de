"""Peaks of a whole capture, and what stays at full scale, or was cut off flat below it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._results import CaptureReading
from fluxbench.captures._sections import Kind
from fluxbench.captures._source import Source

_FULL = np.float32(1.0 - 2.0**-14)
_RUN = 4
"""Samples in a row at full scale: music touches it with one or two. Our choice."""

_FLAT_TOPS = 3
_SAME = 2.0**-12
_CORNER = 0.002
"""How much lower, re the top, the samples beside a flat top lie. Our choice."""

_LEAST_TOP = 0.05
"""Nobody would make clipped programme so quiet; and a corner must be more than steps of 16 bits."""


@dataclass(frozen=True, slots=True)
class Peaks:
    """One number a track; `clipped_runs` counts what stays at full scale outside of tones.

    `flat_tops` counts what stays at the highest or lowest value that the track has anywhere, and
    comes to it at once: clipped first, and made quieter after.
    """

    peak: NDArray[np.float64]
    clipped_runs: NDArray[np.int64]
    flat_tops: NDArray[np.int64]


def peaks_of(reading: CaptureReading, told: Callable[[], None] = lambda: None) -> Peaks:
    """Go through all samples once more; what is no number counts as nothing."""
    header = reading.header
    measured = [
        (round(s.start_s * header.rate_hz), round(s.end_s * header.rate_hz))
        for s in reading.sections
        if s.kind is not Kind.PROGRAMME
    ]
    peak = np.zeros(len(reading.tracks))
    runs = np.zeros(len(reading.tracks), np.int64)
    tops = [(_FlatTops(), _FlatTops()) for _ in reading.tracks]
    at = 0
    with Source(reading.path, header, reading.tracks) as source:
        for block in source.blocks(0, header.frames):
            high, low = block.max(axis=0), -block.min(axis=0)
            if not (np.isfinite(high).all() and np.isfinite(low).all()):
                block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
                high, low = block.max(axis=0), -block.min(axis=0)
            loud = np.fmax(high, low)
            peak = np.maximum(peak, loud)
            for track, (up, down) in enumerate(tops):
                up.add(block[:, track], float(high[track]), 1.0)
                down.add(block[:, track], float(low[track]), -1.0)
            if loud.max() >= _FULL:
                runs += _runs(block, at, measured)
            at += len(block)
            told()
    flat = [0 if header.has_8_bits else max(up.runs, down.runs) for up, down in tops]
    return Peaks(peak, runs, np.array([n if n >= _FLAT_TOPS else 0 for n in flat], np.int64))


class _FlatTops:
    """Counts how often samples in a row stay at the highest value of all, with corners.

    A top of a wave is round: the sample before a run at it lies a little lower. Cut off flat the
    wave comes to it at full steepness.
    """

    def __init__(self) -> None:
        self.runs = 0
        self._top = _LEAST_TOP

    def add(self, samples: NDArray[np.float32], highest: float, way: float) -> None:
        """Take samples whose greatest value, times `way`, is `highest`."""
        if highest > self._top * (1.0 + _SAME):
            self.runs = 0
        elif highest < self._top * (1.0 - _SAME):
            return
        self._top = max(self._top, highest)
        near = np.flatnonzero(way * samples >= self._top * (1.0 - _SAME))
        breaks = np.flatnonzero(np.diff(near) > 1)
        firsts = near[np.concatenate([[0], breaks + 1])]
        lasts = near[np.concatenate([breaks, [len(near) - 1]])]
        inner = (lasts - firsts >= _RUN - 1) & (firsts > 0) & (lasts < len(samples) - 1)
        before, after = way * samples[firsts[inner] - 1], way * samples[lasts[inner] + 1]
        corner = self._top * (1.0 - _CORNER)
        self.runs += int(np.count_nonzero((before < corner) & (after < corner)))


def _runs(
    block: NDArray[np.float32], at: int, measured: list[tuple[int, int]]
) -> NDArray[np.int64]:
    full = np.abs(block) >= _FULL
    for first, last in measured:
        full[max(first - at, 0) : max(last - at, 0)] = False
    length = len(full) - _RUN + 1
    if length < 1:
        return np.zeros(full.shape[1], np.int64)
    held = np.logical_and.reduce([full[k : k + length] for k in range(_RUN)])
    begun = np.count_nonzero(held[1:] & ~held[:-1], axis=0)
    return np.asarray(begun + held[0], np.int64)
