"""The quasi-peak detector of ITU-R BS.468-4, a step only where a sample may charge it."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.trade import (
    QUASI_PEAK_CHARGE_S,
    QUASI_PEAK_DISCHARGE_S,
    QUASI_PEAK_OF_SINE_RATIO,
    QUASI_PEAK_SMOOTHING_S,
)

_TILE = 1024
"""Samples that are worked on together: so few that a stage left alone falls by little."""
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
    be slow. But most samples lie below the stage, and discharging alone is a sum: with everything
    divided by (1 - d)^n, what n samples of discharge d leave, the stage is
    u = s + d (x1 + ... + xn). Charging by c adds e to it: where x - u lies above e, and there
    only, e moves towards x - u by (c - d) / (1 - d) of the distance. As e never falls, only
    samples with x - u above nothing are looked at, a few in a hundred, those of all tracks side by
    side. Nothing is approximated.

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
        self._discharge = float(discharge)
        self._share = float((charge - discharge) / (1.0 - discharge))
        self._left = (1.0 - discharge) ** np.arange(1, _TILE + 1)
        self._smoothing = float(1.0 - np.exp(-_POINT / rate_hz / QUASI_PEAK_SMOOTHING_S))
        self._state: F64 = np.zeros(tracks)
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
        stage = np.empty((tracks, frames // _POINT))
        for first in range(0, frames, _TILE):
            some = size[:, first : first + _TILE]
            left = self._left[: some.shape[1]]
            above = some * (1.0 / left)
            discharged = np.cumsum(above, axis=1)
            discharged *= self._discharge
            discharged += self._state[:, None]
            above -= discharged
            now = discharged[:, _POINT - 1 :: _POINT] + self._charged(above)
            now *= left[_POINT - 1 :: _POINT]
            stage[:, first // _POINT : first // _POINT + now.shape[1]] = now
            self._state = now[:, -1].copy()
        return stage

    def _charged(self, above: F64) -> F64:
        """What charging has added after every point, for samples that lie so far above."""
        tracks, frames = above.shape
        added = np.zeros((tracks, frames // _POINT))
        places = np.flatnonzero(above > 0.0)
        track, at = np.divmod(places, frames)
        counts = np.bincount(track, minlength=tracks)
        turn = np.arange(len(places)) - (np.cumsum(counts) - counts)[track]
        steps = np.zeros((counts.max(), tracks))
        steps[turn, track] = self._share * above.ravel()[places]
        left, so_far, moved = 1.0 - self._share, np.zeros(tracks), np.empty(tracks)
        for step in steps:
            np.multiply(so_far, left, out=moved)
            np.add(moved, step, out=moved)
            so_far = np.maximum(so_far, moved, out=step)
        added[track, at // _POINT] = steps[turn, track]  # the last of a point holds
        return np.maximum.accumulate(added, axis=1)


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
