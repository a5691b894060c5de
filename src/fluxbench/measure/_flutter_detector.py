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
        1.0 - np.exp(-1.0 / rate_hz / constant_s)
        for constant_s in (FLUTTER_CHARGE_S, FLUTTER_CLAMP_S, FLUTTER_DISCHARGE_S)
    )
    pointer = np.empty_like(deviation)
    clamp, held = deviation[0].copy(), np.zeros(deviation.shape[1])
    gain = 0.5 * FLUTTER_DETECTOR_GAIN
    for now, out in zip(deviation, pointer, strict=True):
        above = now - clamp
        clamp += np.where(above < 0.0, charge, let_go) * above
        above = now - clamp - held
        held += np.where(above > 0.0, charge * above, -fall * held)
        np.multiply(held, gain, out=out)
    return pointer
