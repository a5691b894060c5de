"""Azimuth of a one-track head: the greatest short-wave output, by equal losses either side."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity

F64 = NDArray[np.float64]

_LEAST_LOSS_DB = 0.5


@dataclass(frozen=True, slots=True)
class UprightReading:
    """Where the head stands upright, in turns of its screw; `UNSTABLE` and NaN if not known."""

    upright_turns: float
    standard_error_turns: float
    validity: Validity


def upright(turns: F64, level_db: F64, standard_error_db: float) -> UprightReading:
    """Place the peak of a short-wave level halfway between equal losses either side.

    Parameters
    ----------
    turns
        Places of the screw, shape (readings,).
    level_db
        Level at each, dB.
    standard_error_db
        Of one level.

    Returns
    -------
    UprightReading
        `UNSTABLE` unless the level falls by 0.5 dB or more on both sides: the top is too flat to
        be seen itself.

    Raises
    ------
    MisuseError
        Not one level for each place.

    Notes
    -----
    The loss is even in the angle (sinc of width times tangent over wavelength), so chords at
    equal losses have the upright place in their middle. Chords from the lower of the two ends'
    levels up to 0.5 dB below the top are averaged, weighted by the slopes that they cut.

    Examples
    --------
    >>> turns = np.linspace(-1.0, 1.4, 13)
    >>> level = 20 * np.log10(np.sinc(0.4 * (turns - 0.2)))
    >>> round(upright(turns, level, 0.01).upright_turns, 2)
    0.2
    """
    if len(turns) != len(level_db):
        raise MisuseError("a peak needs one level for each place of the screw")
    known = np.isfinite(level_db)
    order = np.argsort(np.asarray(turns)[known])
    places, levels = np.asarray(turns)[known][order], np.asarray(level_db)[known][order]
    unknown = UprightReading(np.nan, np.nan, Validity.UNSTABLE)
    if len(places) < 5:
        return unknown
    top = int(np.argmax(levels))
    lowest = max(levels[0], levels[-1])
    if levels[top] - lowest < _LEAST_LOSS_DB or top in (0, len(levels) - 1):
        return unknown
    heights = np.linspace(lowest, levels[top] - 0.5 * _LEAST_LOSS_DB, 9)
    middles, weights = [], []
    for height in heights:
        left, left_slope = _crossing(places[: top + 1], levels[: top + 1], height)
        right, right_slope = _crossing(places[top:][::-1], levels[top:][::-1], height)
        middles.append(0.5 * (left + right))
        weights.append(4.0 / (1.0 / left_slope**2 + 1.0 / right_slope**2))
    weight = np.array(weights)
    mean = float(np.average(middles, weights=weight))
    # Chords share their readings: the error is that of the steepest chord alone.
    return UprightReading(mean, float(standard_error_db / np.sqrt(weight.max())), Validity.OK)


def _crossing(places: F64, levels: F64, height: float) -> tuple[float, float]:
    """Where levels that rise to the last one first reach a height, and the slope there."""
    above = int(np.argmax(levels >= height))
    if above == 0:
        above = 1
    rise = max(levels[above] - levels[above - 1], 1e-9)
    run = places[above] - places[above - 1]
    share = min(max((height - levels[above - 1]) / rise, 0.0), 1.0)
    return float(places[above - 1] + share * run), float(rise / abs(run))
