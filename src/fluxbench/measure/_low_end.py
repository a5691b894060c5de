"""The low end of a response: its bump and dip, and what a trimmer can split."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.measure._response import ResponseReading

F64 = NDArray[np.float64]

COMPROMISE_HZ = (30.0, 300.0)
_DIP_BELOW_HZ = 1000.0
_LEAST_DB = 0.1


@dataclass(frozen=True, slots=True)
class LowEndReading:
    """The low end of one track; dB re its level at the reference frequency.

    NaN where the points do not show a bump or a dip of 0.1 dB. `mean_db` is the mean of the
    response over log frequency, 30 to 300 Hz: the bump and the dip cannot be trimmed flat, the
    trimmer splits the error. Its error is that of the points, of the reference and of what may
    lie between them.
    """

    bump_hz: float
    bump_db: float
    dip_hz: float
    dip_db: float
    mean_db: float
    mean_standard_error_db: float


def low_end(response: ResponseReading, reference_hz: float = 1000.0) -> tuple[LowEndReading, ...]:
    """Find bump, dip and compromise of every track in a response with points below 300 Hz.

    Parameters
    ----------
    response
        From `multitone_levels`, `stepped_levels` or `sweep_levels`.
    reference_hz
        Frequency of the level that all is compared with.

    Returns
    -------
    tuple of LowEndReading
        All NaN on a track with fewer than three valid points from 20 to 400 Hz or none near
        the reference.

    Raises
    ------
    MisuseError
        The points do not reach the reference frequency.

    Notes
    -----
    The bump is the highest local maximum below 300 Hz, the dip the lowest local minimum between
    it and 1 kHz, each placed by a parabola over log frequency through three points. The mean is
    that of straight lines between the points (trapezia).

    Examples
    --------
    >>> at_hz = np.array([31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 160.0, 315.0, 1000.0])
    >>> levels = np.array([-1.0, 1.0, 2.0, 1.0, 0.0, -1.0, 0.0, 0.0, 0.0])[:, None] - 20.0
    >>> reading = ResponseReading(at_hz, 1.0, levels, 0.0 * levels, ())
    >>> (track,) = low_end(reading)
    >>> round(track.bump_hz), round(track.bump_db, 1), round(track.dip_db, 1)
    (50, 2.0, -1.0)
    """
    at_hz = response.frequencies_hz
    if not at_hz.min() <= reference_hz <= at_hz.max():
        raise MisuseError(
            f"the points do not reach {reference_hz:g} Hz: measure it too or name another reference"
        )
    return tuple(
        _of_track(at_hz, response.level_dbfs[:, track], response.standard_error_db[:, track],
                  reference_hz)
        for track in range(response.level_dbfs.shape[1])
    )  # fmt: skip


def _of_track(at_hz: F64, level: F64, error: F64, reference_hz: float) -> LowEndReading:
    known = np.isfinite(level)
    octaves, level, error = np.log2(at_hz[known]), level[known], error[known]
    low = (octaves >= np.log2(20.0)) & (octaves <= np.log2(400.0))
    near = known.any() and np.min(np.abs(octaves - np.log2(reference_hz))) < 1.0
    if low.sum() < 3 or not near:
        return LowEndReading(*(np.nan,) * 6)
    order = np.argsort(octaves)
    octaves, level, error = octaves[order], level[order], error[order]
    level = level - np.interp(np.log2(reference_hz), octaves, level)
    reference_error = float(np.interp(np.log2(reference_hz), octaves, error))
    bump_at, bump_db = _extreme(octaves, level, 0.0, np.log2(300.0))
    lowest = bump_at if np.isfinite(bump_at) else np.log2(30.0)
    dip_at, dip_db = _extreme(octaves, -level, lowest, np.log2(_DIP_BELOW_HZ))
    weight = _weights(octaves)
    between_db = _between_db(octaves, level)
    return LowEndReading(
        float(2.0**bump_at),
        bump_db,
        float(2.0**dip_at),
        -dip_db,
        float(weight @ level),
        float(np.sqrt(np.sum((weight * error) ** 2) + reference_error**2 + between_db**2)),
    )


def _between_db(octaves: F64, level: F64) -> float:
    """How far the mean over 30 to 300 Hz may be off, since nothing is known between the points.

    What a cubic with the points' own slopes adds to a straight line is h^2/12 times how the slopes
    differ (Euler and Maclaurin's correction of a trapezium); each interval may be off by that.
    """
    slopes, widths = np.gradient(level, octaves), np.diff(octaves)
    low, high = np.log2(COMPROMISE_HZ)
    inside = np.clip(octaves[1:], low, high) - np.clip(octaves[:-1], low, high)
    added = widths / 12.0 * np.diff(slopes) * inside
    return float(np.sqrt(np.sum(added**2)) / max(inside.sum(), 1e-9))


def _extreme(octaves: F64, level: F64, above: float, below: float) -> tuple[float, float]:
    """Place and height of the highest local maximum between two places; NaN if there is none."""
    best = (np.nan, np.nan)
    for k in range(1, len(level) - 1):
        rises = level[k] >= level[k - 1] and level[k] >= level[k + 1] and level[k] > _LEAST_DB
        if not (rises and above < octaves[k] < below):
            continue
        bend, slope, height = np.polyfit(
            octaves[k - 1 : k + 2] - octaves[k], level[k - 1 : k + 2], 2
        )
        shift = -slope / (2.0 * bend) if bend < 0.0 else 0.0
        top = float(height + slope * shift + bend * shift**2)
        if not top <= best[1]:
            best = (float(octaves[k] + shift), top)
    return best


def _weights(octaves: F64) -> F64:
    """How much each point counts in the mean over 30 to 300 Hz of lines between the points."""
    low, high = (float(np.log2(edge_hz)) for edge_hz in COMPROMISE_HZ)
    fine = np.linspace(low, high, 401)
    fine = fine[(fine >= octaves[0]) & (fine <= octaves[-1])]
    points = np.eye(len(octaves))
    return np.asarray([np.interp(fine, octaves, row).mean() for row in points])
