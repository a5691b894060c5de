"""Peaks of a whole capture, and programme that stays at full scale."""

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


@dataclass(frozen=True, slots=True)
class Peaks:
    """One number a track; `clipped_runs` counts what stays at full scale outside of tones."""

    peak: NDArray[np.float64]
    clipped_runs: NDArray[np.int64]


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
    at = 0
    with Source(reading.path, header, reading.tracks) as source:
        for block in source.blocks(0, header.frames):
            loud = np.fmax(block.max(axis=0), -block.min(axis=0))
            if not np.isfinite(loud).all():
                block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
                loud = np.abs(block).max(axis=0)
            peak = np.maximum(peak, loud)
            if loud.max() >= _FULL:
                runs += _runs(block, at, measured)
            at += len(block)
            told()
    return Peaks(peak, runs)


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
