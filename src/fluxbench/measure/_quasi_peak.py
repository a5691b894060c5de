"""The quasi-peak detector of ITU-R BS.468-4, run in pieces side by side."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from fluxbench.trade import (
    QUASI_PEAK_CHARGE_S,
    QUASI_PEAK_DISCHARGE_S,
    QUASI_PEAK_OF_SINE_RATIO,
    QUASI_PEAK_SMOOTHING_S,
)

_PIECE_S = 0.5
_WARM_UP_S = 0.25
_TILE = 1024
_POINT = 32
"""One point of the pointer for so many samples."""
_AGREE = 0.003

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
    be slow; so pieces of half a second run side by side. Each starts a quarter of a second early
    from a guess. Where the piece before does not end as the next one started, within 0.3 %, that
    one runs again from there, so that the result is that of one long run.

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
        self._charge, self._discharge = float(charge), float(discharge)
        self._smoothing = float(1.0 - np.exp(-_POINT / rate_hz / QUASI_PEAK_SMOOTHING_S))
        self._state: Rows = np.zeros(tracks, np.float32)
        self._pointer = np.zeros((tracks, 1))
        self._kept: Rows = np.zeros((tracks, 0), np.float32)

    def add(self, weighted: Rows) -> F64:
        """Take samples (tracks, frames); give the pointer (tracks, points) of whole points."""
        joined = np.concatenate([self._kept, np.abs(weighted)], axis=1)
        frames = joined.shape[1] // _POINT * _POINT
        self._kept = joined[:, frames:]
        if frames == 0:
            return np.zeros((len(joined), 0))
        stage = self._stage(joined[:, :frames])
        smooth, self._pointer = lfilter(
            [self._smoothing], [1.0, self._smoothing - 1.0], stage, axis=1, zi=self._pointer
        )
        return np.asarray(smooth / (np.sqrt(2.0) * QUASI_PEAK_OF_SINE_RATIO))

    def _stage(self, size: Rows) -> F64:
        """The first stage after every point, (tracks, points)."""
        tracks, frames = size.shape
        piece = round(_PIECE_S * self.rate_hz / _POINT) * _POINT
        early = round(_WARM_UP_S * self.rate_hz / _POINT) * _POINT
        pieces = frames // piece
        if pieces < 2:
            stage, self._state = self._run(size, self._state)
            return stage
        # The first piece and what is left over run as they are; the others start early, together.
        stage = np.empty((tracks, frames // _POINT))
        lanes = np.stack([size[:, k * piece - early : (k + 1) * piece] for k in range(1, pieces)])
        guess = np.quantile(lanes[:, :, :early:16], 0.96, axis=2).astype(np.float32)
        _, met = self._run(lanes[:, :, :early].reshape(-1, early), guess.reshape(-1))
        begun = np.concatenate([self._state[None], met.reshape(-1, tracks)])
        whole = size[:, : pieces * piece].reshape(tracks, pieces, piece).transpose(1, 0, 2)
        result, ended = self._run(whole.reshape(-1, piece), begun.reshape(-1))
        rows = result.reshape(pieces, tracks, -1).copy()
        ended = ended.reshape(pieces, tracks).copy()
        for k in range(1, pieces):
            off = np.abs(ended[k - 1] - begun[k]) > _AGREE * np.maximum(ended[k - 1], begun[k])
            if off.any():
                rows[k, off], ended[k, off] = self._run(whole[k, off], ended[k - 1, off])
        stage[:, : pieces * piece // _POINT] = rows.transpose(1, 0, 2).reshape(tracks, -1)
        rest, self._state = self._run(size[:, pieces * piece :], ended[-1])
        stage[:, pieces * piece // _POINT :] = rest
        return stage

    def _run(self, size: Rows, state: Rows) -> tuple[F64, Rows]:
        """Step the first stage through (lanes, frames), whole points; gives it after each point.

        A step is s = max((1 - d) s + d x, (1 - c) s + c x) for charge c and discharge d, the
        greater of the two being the one that holds. Undone for the discharge, which is the same
        for all, v = s / (1 - d)^n - sum of d x / (1 - d)^n, it is v = max(v, r v + g): three
        operations for all lanes, with g worked out beforehand for a tile of frames.
        """
        stage = np.empty((len(size), size.shape[1] // _POINT))
        keep = 1.0 - self._discharge
        ratio = np.float32((1.0 - self._charge) / keep)
        state = state.astype(np.float32)
        work = np.empty_like(state)
        for first in range(0, size.shape[1], _TILE):
            tile = size[:, first : first + _TILE].T
            undone = (keep ** -np.arange(1, len(tile) + 1))[:, None]
            scaled = tile * undone.astype(np.float32)
            paid = np.cumsum(self._discharge * scaled, axis=0, dtype=np.float32)
            step = scaled * np.float32(self._charge) - paid
            step[1:] += ratio * paid[:-1]
            for start in range(0, len(tile), _POINT):
                for gain in step[start : start + _POINT]:
                    np.multiply(state, ratio, out=work)
                    np.add(work, gain, out=work)
                    np.maximum(state, work, out=state)
                last = start + _POINT - 1
                stage[:, (first + start) // _POINT] = (state + paid[last]) / undone[last]
            state = ((state + paid[-1]) / undone[-1]).astype(np.float32)
        return stage, state
