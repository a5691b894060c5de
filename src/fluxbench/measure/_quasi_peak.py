"""The quasi-peak detector of ITU-R BS.468-4, sixteen samples at a stroke."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.trade import (
    QUASI_PEAK_CHARGE_S,
    QUASI_PEAK_DISCHARGE_S,
    QUASI_PEAK_OF_SINE_RATIO,
    QUASI_PEAK_SMOOTHING_S,
)

_TILE = 8192
_STEP = 16
"""Samples that are taken at a stroke."""
_SETTLING_S = 0.7
_AT_ONCE = 1024
_POINT = 32
"""One point of the pointer for so many samples."""

Rows = NDArray[np.float32]
F64 = NDArray[np.float64]


class QuasiPeak:
    """Meters of all tracks; takes weighted samples, gives where the pointers stand.

    Parameters
    ----------
    rate_hz
        Samples a second, 44,100 or more, so that peaks are not missed between samples.
    tracks
        How many tracks.

    Notes
    -----
    The detector of `trade.QUASI_PEAK_CHARGE_S` goes over every sample, and a step a sample would
    be slow. A step is s = max((1 - d) s + d x, (1 - c) s + c x) for charge c and discharge d, the
    greater of the two being the one that holds. Steps of this kind one after the other are again
    the greatest of some straight lines: of all ways to charge k times in n samples, which have the
    same slope, only the best counts. So the lines of sixteen samples are worked out for all tracks
    and times together, and only every sixteenth sample is a step. Nothing is approximated.

    Examples
    --------
    A steady sine reads its rms, 1 for an amplitude of the square root of 2, once it has settled.

    >>> sine = np.sqrt(2) * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[None, :]
    >>> pointer = QuasiPeak(48_000, 1).add(sine.astype(np.float32))
    >>> abs(round(float(pointer[0, -1]), 3) - 1.0) <= 0.003
    True
    """

    def __init__(self, rate_hz: float, tracks: int) -> None:
        self.rate_hz = rate_hz
        self.points_per_s = rate_hz / _POINT
        charge, discharge = (
            1.0 - np.exp(-1.0 / rate_hz / constant_s)
            for constant_s in (QUASI_PEAK_CHARGE_S, QUASI_PEAK_DISCHARGE_S)
        )
        self._gain = float(discharge), float(charge)
        self._slopes = {n: self._slopes_of(n) for n in (1, 2, 4, 8, 16)}
        self._smoothing = float(1.0 - np.exp(-_POINT / rate_hz / QUASI_PEAK_SMOOTHING_S))
        self._state: Rows = np.zeros(tracks, np.float32)
        self._pointer = np.zeros((tracks, 1))
        self._kept: Rows = np.zeros((tracks, 0), np.float32)

    def add(self, weighted: Rows) -> F64:
        """Take samples (tracks, frames); give the pointer (tracks, points) of whole points."""
        joined = np.concatenate([self._kept, np.abs(weighted)], axis=1)
        frames = joined.shape[1] // _POINT * _POINT
        self._kept = joined[:, frames:].copy()  # a view would keep all of it
        if frames == 0:
            return np.zeros((len(joined), 0))
        stage = self._stage(joined[:, :frames])
        smooth = np.concatenate(
            [
                self._smoothed(stage[:, first : first + _AT_ONCE])
                for first in range(0, stage.shape[1], _AT_ONCE)
            ],
            axis=1,
        )
        return np.asarray(smooth / (np.sqrt(2.0) * QUASI_PEAK_OF_SINE_RATIO))

    def _smoothed(self, stage: F64) -> F64:
        """Points through p = (1 - g) p + g x, all at once: p / (1 - g)^n only adds up."""
        left = (1.0 - self._smoothing) ** np.arange(1, stage.shape[1] + 1)
        smooth = left * (self._pointer + np.cumsum(self._smoothing / left * stage, axis=1))
        self._pointer = smooth[:, -1:].copy()
        return smooth

    def _stage(self, size: Rows) -> F64:
        """The first stage after every point, (tracks, points)."""
        tracks, frames = size.shape
        slope = np.array(self._slopes[_STEP])[:, None]
        stage = np.empty((frames // _STEP, tracks), np.float32)
        lines = np.empty((_STEP + 1, tracks), np.float32)
        state = self._state.astype(np.float32)
        for first in range(0, frames, _TILE):
            offsets = self._lines(size[:, first : first + _TILE])
            for now, offset in enumerate(offsets, first // _STEP):
                np.multiply(slope, state, out=lines)
                np.add(lines, offset, out=lines)
                state = np.maximum.reduce(lines, axis=0, out=stage[now])
        self._state = state.copy()
        every = _POINT // _STEP
        return np.asarray(stage[every - 1 :: every].T, np.float64)

    def _lines(self, size: Rows) -> Rows:
        """Where the lines of every step begin, (steps, lines, tracks)."""
        samples = np.ascontiguousarray(size.T).reshape(-1, _STEP, len(size)).transpose(1, 0, 2)
        spans = [[np.float32(gain) * sample for gain in self._gain] for sample in samples]
        length = 1
        while len(spans) > 1:
            spans = [
                self._joined(*pair, length) for pair in zip(spans[::2], spans[1::2], strict=True)
            ]
            length *= 2
        return np.stack(spans[0], axis=1)

    def _joined(self, first: list[Rows], then: list[Rows], samples: int) -> list[Rows]:
        """The lines of two spans of so many samples each, one after the other."""
        joined: list[Rows] = []
        for k in range(2 * samples + 1):
            ways = [
                self._slopes[samples][j] * first[k - j] + then[j]
                for j in range(max(k - samples, 0), min(k, samples) + 1)
            ]
            best = ways[0]
            for way in ways[1:]:
                np.maximum(best, way, out=best)
            joined.append(best)
        return joined

    def _slopes_of(self, samples: int) -> list[np.float32]:
        """What is left of the stage after so many samples, of which 0, 1, ... all charged it."""
        discharge, charge = self._gain
        return [
            np.float32((1.0 - discharge) ** (samples - charged) * (1.0 - charge) ** charged)
            for charged in range(samples + 1)
        ]


class Pointers:
    """Where the quasi-peak pointers stood: means of half seconds or more, the highest place."""

    def __init__(self, points_per_s: float) -> None:
        self._points_per_s = points_per_s
        self._skip = round(_SETTLING_S * points_per_s)
        self._sums: list[F64] = []
        self._counts: list[int] = []
        self._highest: F64 | None = None

    def add(self, pointer: F64) -> None:
        """Take the next points, (tracks, points)."""
        skipped = min(self._skip, pointer.shape[1])
        self._skip -= skipped
        pointer = pointer[:, skipped:]
        if pointer.shape[1] == 0:
            return
        pieces = max(round(pointer.shape[1] / self._points_per_s), 1)
        edges = np.arange(pieces) * pointer.shape[1] // pieces
        self._sums.extend(np.add.reduceat(pointer, edges, axis=1).T)
        self._counts.extend(np.diff(edges, append=pointer.shape[1]))
        highest = pointer.max(axis=1)
        self._highest = highest if self._highest is None else np.maximum(self._highest, highest)

    def also(self, later: "Pointers") -> None:
        """Take in what was gathered of what followed."""
        self._sums += later._sums
        self._counts += later._counts
        if self._highest is None or later._highest is None:
            self._highest = later._highest if self._highest is None else self._highest
        else:
            self._highest = np.maximum(self._highest, later._highest)

    def levels(self) -> tuple[F64, F64, F64]:
        """Level of the mean, its standard error, and level of the highest, per track."""
        if self._highest is None:
            nothing = np.array([np.nan])
            return nothing, nothing, nothing
        counts = np.array(self._counts)[:, None]
        means = np.stack(self._sums) / counts
        mean = np.sum(self._sums, axis=0) / counts.sum()
        error = np.sqrt(np.sum((counts * (means - mean)) ** 2, axis=0)) / counts.sum()
        # The pointer of rms 1 is that of a sine of amplitude sqrt 2, which is +3 dBFS.
        level, highest = (
            20.0 * np.log10(np.maximum(np.sqrt(2.0) * size, 1e-15))
            for size in (mean, self._highest)
        )
        return level, 20.0 / np.log(10.0) * error / np.maximum(mean, 1e-15), highest
