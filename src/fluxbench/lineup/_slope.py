"""The line across a stack: what its tracks' phases say of its angle."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench
from fluxbench.lineup._point import Point
from fluxbench.trade import azimuth_from_delay_arcmin


def angle_weights(bench: Bench) -> F64 | None:
    """Which live tracks tell an angle, 1 or 0 (live tracks,); None if fewer than two of them do.

    A track whose bias did not come in is recorded at another depth and with its high end turned to
    make up for that: both turn the phase of a short wave.
    """
    tells = np.ones(bench.plan.tracks, bool)
    if bench.source[0] == "record":
        tells = ~bench.bias_off
    weights = tells[bench.live].astype(np.float64)
    return weights if weights.sum() >= 2 else None


def slope_arcmin(bench: Bench, cross: F64, frequency_hz: float) -> tuple[float, F64]:
    """Angle of the line through the delays of the live tracks that tell it; each one's rest (us).

    `cross` is the mean of a_i conj(a_j) of each live track i with the next live one j, complex.
    Positive: later tracks (higher numbers) come later.
    """
    live = np.flatnonzero(bench.live)
    position = bench.plan.positions_mm[live]
    lag = np.concatenate([[0.0], np.cumsum(np.angle(cross))]) / (2 * np.pi * frequency_hz)
    slope, offset = np.polyfit(position, lag, 1, w=angle_weights(bench))
    arcmin = float(azimuth_from_delay_arcmin(1e6 * slope, 1.0, bench.plan.speed_ips))
    return arcmin, 1e6 * (lag - (slope * position + offset))


def crossed(bench: Bench, point: Point) -> F64:
    """Mean of a_i conj(a_j) over one point, for neighbouring live tracks, reversed ones righted."""
    e = point.envelope[:, 0, bench.live] * bench.sign[bench.live].astype(np.float32)
    return np.asarray((e[:, :-1] * e[:, 1:].conj()).mean(axis=0))
