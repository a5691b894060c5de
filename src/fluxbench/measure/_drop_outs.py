"""Short weak places of a tone: where, how long and how deep."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_DEPTH_DB = 3.0
LOWEST_HZ = 250.0
"""A tone below has no room for the +-200 Hz that 1 ms needs."""
_RECOVERED_DB = 1.5
_AVERAGE_S = 1e-3
_USUAL_S = 0.5
_CERTAIN = 6.0
"""A drop-out must be this many standard deviations of the noise deep."""


@dataclass(frozen=True, slots=True)
class DropOut:
    """One weak place on one track; the length is the time below half the depth in dB."""

    start_s: float
    length_ms: float
    depth_db: float


def drop_outs_of(
    envelope_power: NDArray[np.float32],
    rate_hz: float,
    first_s: float,
    noise_ratio: NDArray[np.float64],
) -> tuple[tuple[DropOut, ...], ...]:
    """Find the drop-outs of every track in the power of an envelope, in order of time.

    Parameters
    ----------
    envelope_power
        Shape (tracks, points); of a band of +-200 Hz or more.
    rate_hz
        Points a second; several a millisecond.
    first_s
        Time of the first point in s.
    noise_ratio
        Noise over tone in the band, as powers, per track; deeper than noise alone can make it.

    Returns
    -------
    tuple
        A tuple of `DropOut` for every track.

    Notes
    -----
    Powers are averaged over 1 ms and compared with the usual one, the median of half-second
    pieces. A place that is 3 dB weaker or more is a drop-out (the definition is ours; trade
    practice has none); it is over when the tone is within 1.5 dB.

    Examples
    --------
    >>> power = np.ones((1, 8000), np.float32)
    >>> power[0, 4000:4040] = 0.1
    >>> ((found,),) = drop_outs_of(power, 4000.0, 0.0, np.zeros(1))
    >>> round(found.start_s, 3), round(found.length_ms), round(found.depth_db, 3)
    (1.0, 9, 10.0)
    """
    width = max(round(_AVERAGE_S * rate_hz), 1)
    summed = np.cumsum(envelope_power, axis=1, dtype=np.float64)
    summed = np.concatenate([np.zeros((len(summed), 1)), summed], axis=1)
    averaged = (summed[:, width:] - summed[:, :-width]) / width
    if averaged.shape[1] == 0:
        return ((),) * len(averaged)
    usual = usual_power(averaged, rate_hz)
    start_s = first_s + (width - 1) / 2 / rate_hz
    sure = 1.0 - _CERTAIN * np.sqrt(np.maximum(noise_ratio, 0.0) / 2.0)
    limit = np.minimum(10.0 ** (-LEAST_DEPTH_DB / 20.0), sure)
    return tuple(
        tuple(_of_track(averaged[track], usual[track], float(limit[track]), rate_hz, start_s))
        if np.isfinite(limit[track]) and limit[track] > 0.0
        else ()
        for track in range(len(averaged))
    )


def usual_power(power: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Median of half-second pieces, straight between their middles, shape as `power`."""
    points = power.shape[1]
    pieces = max(int(points / (_USUAL_S * rate_hz)), 1)
    length = points // pieces
    medians = np.median(power[:, : pieces * length].reshape(len(power), pieces, length), axis=2)
    middles = (np.arange(pieces) + 0.5) * length
    at = np.arange(points)
    return np.stack([np.interp(at, middles, row) for row in medians])


def _of_track(
    power: NDArray[np.float64],
    usual: NDArray[np.float64],
    limit: float,
    rate_hz: float,
    start_s: float,
) -> list[DropOut]:
    below = power < usual * 10.0 ** (-_RECOVERED_DB / 10.0)
    if not below.any():
        return []
    edges = np.flatnonzero(np.diff(below.astype(np.int8), prepend=0, append=0))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        drop_db = -10.0 * np.log10(np.maximum(power[first:last] / usual[first:last], 1e-12))
        depth_db = float(drop_db.max())
        if 10.0 ** (-depth_db / 20.0) > limit:
            continue
        half = np.flatnonzero(drop_db >= depth_db / 2.0)
        length = int(half[-1] - half[0]) + 1
        found.append(
            DropOut(float(start_s + (first + half[0]) / rate_hz), 1e3 * length / rate_hz, depth_db)
        )
    return found
