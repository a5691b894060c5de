"""Short weak places of a tone: where, how long and how deep."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_DEPTH_DB = 3.0
LOWEST_HZ = 250.0
"""A tone below has no room for the +-200 Hz that 1 ms needs."""
_RECOVERED_DB = 1.5
AVERAGE_S = 1e-3
_USUAL_S = 0.5
_SPARSE = 4
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
    earliest: int = 0,
    latest: int | None = None,
    average_s: float = AVERAGE_S,
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
    earliest, latest
        Points between which a drop-out must begin, both included; all if left out.
    average_s
        Powers are averaged over so long.

    Returns
    -------
    tuple
        A tuple of `DropOut` for every track.

    Notes
    -----
    Averaged powers are compared with the usual one, the median of half-second pieces, of which one
    that is out of step with those beside it follows them: it may lie in a long drop-out. A place
    that is 3 dB weaker or more is a drop-out (the definition is ours; trade practice has none); it
    is over when the tone is within 1.5 dB.

    Examples
    --------
    >>> power = np.ones((1, 8000), np.float32)
    >>> power[0, 4000:4040] = 0.1
    >>> ((found,),) = drop_outs_of(power, 4000.0, 0.0, np.zeros(1))
    >>> round(found.start_s, 3), round(found.length_ms), round(found.depth_db, 3)
    (1.0, 9, 10.0)
    """
    width = max(round(average_s * rate_hz), 1)
    summed = np.cumsum(envelope_power, axis=1, dtype=np.float64)
    summed = np.concatenate([np.zeros((len(summed), 1)), summed], axis=1)
    averaged = (summed[:, width:] - summed[:, :-width]) / width
    if averaged.shape[1] == 0:
        return ((),) * len(averaged)
    medians = _medians(averaged, rate_hz)
    start_s = first_s + (width - 1) / 2 / rate_hz
    sure = 1.0 - _CERTAIN * np.sqrt(np.maximum(noise_ratio, 0.0) / 2.0)
    limit = np.minimum(10.0 ** (-LEAST_DEPTH_DB / 20.0), sure)
    possible = averaged.min(axis=1) <= 10.0 ** (-LEAST_DEPTH_DB / 10.0) * medians.max(axis=1)
    span = earliest, averaged.shape[1] if latest is None else latest
    return tuple(
        tuple(_of_track(row, _usual(row, middle), float(deep), rate_hz, start_s, span))
        if np.isfinite(deep) and deep > 0.0 and may
        else ()
        for row, middle, deep, may in zip(averaged, medians, limit, possible, strict=True)
    )


def without_ringing(
    envelope: NDArray[np.complex64], rate_hz: float, half_hz: float
) -> NDArray[np.float32]:
    """Power of an envelope (points,) of a band cut sharply at `half_hz`, steps in it not rung.

    A band with sharp edges rings after a step by 9 % of it (Gibbs), and what rings into a deep
    drop-out makes it look deeper. A raised cosine of two periods of the edge has its first zero
    there: the ringing goes, and steps are as steep as a quarter of its length.
    """
    reach = max(round(rate_hz / half_hz), 1)
    window = 0.5 + 0.5 * np.cos(np.pi * np.arange(-reach + 1, reach) / reach)
    smooth = np.convolve(envelope, window, "same") / np.convolve(
        np.ones(len(envelope)), window, "same"
    )
    return np.asarray(np.abs(smooth) ** 2, np.float32)


def _medians(power: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Medians of half-second pieces, (tracks, pieces), of every fourth point."""
    pieces = max(int(power.shape[1] / (_USUAL_S * rate_hz)), 1)
    length = power.shape[1] // pieces
    cut = power[:, : pieces * length].reshape(len(power), pieces, length)
    medians = np.median(cut[:, :, ::_SPARSE], axis=2)
    if pieces < 3:
        return np.asarray(medians)
    beside = np.pad(medians, ((0, 0), (1, 1)), mode="reflect")
    return np.asarray(np.median([beside[:, :-2], medians, beside[:, 2:]], axis=0))


def _usual(power: NDArray[np.float64], medians: NDArray[np.float64]) -> NDArray[np.float64]:
    """The medians, straight between the middles of their pieces, for every point."""
    length = len(power) // len(medians)
    middles = (np.arange(len(medians)) + 0.5) * length
    return np.asarray(np.interp(np.arange(len(power)), middles, medians))


def _of_track(
    power: NDArray[np.float64],
    usual: NDArray[np.float64],
    limit: float,
    rate_hz: float,
    start_s: float,
    span: tuple[int, int],
) -> list[DropOut]:
    below = power < usual * 10.0 ** (-_RECOVERED_DB / 10.0)
    if not below.any():
        return []
    edges = np.flatnonzero(np.diff(below.astype(np.int8), prepend=0, append=0))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if not span[0] <= first <= span[1]:
            continue
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
