"""The quasi-peak detector for flutter: a clamp and a peak detector, run in pieces side by side."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.trade import (
    FLUTTER_CHARGE_S,
    FLUTTER_CLAMP_S,
    FLUTTER_DETECTOR_GAIN,
    FLUTTER_DISCHARGE_S,
)

_PIECE_S = 6.0
_SETTLING_S = 3.0
_WINDOW_S = 2.0


def quasi_peak_percent(
    weighted_percent: NDArray[np.float32], rate_hz: float
) -> NDArray[np.float64]:
    """Mean of the highest places of the pointer in pieces of 2 s, per track.

    `weighted_percent` has shape (tracks, points); half of the peak to peak comes out.
    """
    pointer = pointer_percent(weighted_percent, rate_hz)
    settled = min(int(_SETTLING_S * rate_hz), pointer.shape[1] // 3)
    rest = pointer[:, settled:]
    pieces = max(int(rest.shape[1] / (_WINDOW_S * rate_hz)), 1)
    length = rest.shape[1] // pieces
    highest = rest[:, : pieces * length].reshape(len(rest), pieces, length).max(axis=2)
    return np.asarray(highest.mean(axis=1, dtype=np.float64))


def pointer_percent(weighted_percent: NDArray[np.float32], rate_hz: float) -> NDArray[np.float64]:
    """The pointer over time, shape as given: half of the quasi-peak to peak."""
    tracks, points = weighted_percent.shape
    settling, piece = int(_SETTLING_S * rate_hz), int(_PIECE_S * rate_hz)
    pieces = -(-points // piece)
    padded = np.pad(weighted_percent, ((0, 0), (settling, pieces * piece - points)), mode="edge")
    padded[:, :settling] = padded[:, 2 * settling : settling : -1][:, :settling]
    starts = np.arange(pieces) * piece
    lanes = np.stack([padded[:, s : s + settling + piece] for s in starts]).reshape(
        pieces * tracks, -1
    )
    moved = _run(np.ascontiguousarray(lanes.T, dtype=np.float64), rate_hz)[settling:]
    whole = moved.reshape(piece, pieces, tracks).transpose(2, 1, 0).reshape(tracks, -1)
    return np.asarray(whole[:, :points])


def _run(deviation: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Step clamp and detector through (points, lanes)."""
    charge, let_go, fall = (
        np.full(deviation.shape[1], 1.0 - np.exp(-1.0 / rate_hz / constant_s))
        for constant_s in (FLUTTER_CHARGE_S, FLUTTER_CLAMP_S, FLUTTER_DISCHARGE_S)
    )
    stage = np.empty_like(deviation)
    clamp, held, nothing = deviation[0].copy(), np.zeros_like(charge), np.zeros_like(charge)
    above, move = np.empty((2, len(charge)))
    rises = np.empty(len(charge), bool)
    for now, out in zip(deviation, stage, strict=True):
        np.subtract(now, clamp, out=above)
        np.multiply(above, charge, out=move)
        np.multiply(above, let_go, out=above)
        np.minimum(above, move, out=above)  # down by the charge, up by the slower clamp
        np.add(clamp, above, out=clamp)
        np.subtract(now, clamp, out=above)
        np.subtract(above, held, out=above)
        np.greater(above, nothing, out=rises)
        np.multiply(held, fall, out=move)
        np.negative(move, out=move)
        np.multiply(above, charge, out=move, where=rises)
        np.add(held, move, out=out)
        held = out
    return stage * (0.5 * FLUTTER_DETECTOR_GAIN)
