"""The azimuth of a capture: delays from its shortest wave, whole turns counted by longer ones."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._results import CaptureAzimuth, MeasuredSection
from fluxbench.measure import DelaysReading

_LOWEST_HZ = 690.0
"""Below, a degree of phase of an amplifier is too long a time."""

_CERTAIN_TURNS = 0.3


def azimuth_of(sections: Sequence[MeasuredSection], tracks: Sequence[int]) -> CaptureAzimuth:
    """Take the delays from the valid tone of the highest frequency.

    A long wave tells the delay without doubt but coarsely; each shorter one has its whole turns
    counted by it. Without a longer wave neighbours are taken to lie within half a period.
    """
    readings = [
        section.tone.delays
        for section in sections
        if section.tone is not None and set(section.validity) <= {Validity.OK}
    ]
    sound = sorted(
        (reading for reading in readings if reading.validity is Validity.OK),
        key=lambda reading: reading.frequency_hz,
    )
    nothing = np.full(len(tracks), np.nan)
    if not sound:
        against = [reading.validity for reading in readings]
        worst = next((v for v in against if v is not Validity.OK), Validity.NO_SIGNAL)
        return CaptureAzimuth(worst, np.nan, None, nothing, nothing, np.nan, np.nan, nothing)
    best = sound[-1]
    delay_us = _counted(sound)
    valid = np.flatnonzero(np.isfinite(delay_us))
    slope, scatter = _line(delay_us, np.asarray(tracks, np.float64), valid)
    return CaptureAzimuth(
        Validity.OK,
        best.frequency_hz,
        tracks[int(valid[0])],
        delay_us,
        best.delay_standard_error_us,
        slope,
        best.slope_standard_error_us_per_mm,
        scatter,
    )


def _counted(sound: Sequence[DelaysReading]) -> NDArray[np.float64]:
    """Delays of the last reading, with whole turns as the ones before it foretell."""
    best = sound[-1]
    coarse_us = np.full(len(best.delay_us), np.nan)
    for reading in sound:
        if reading.frequency_hz < _LOWEST_HZ and reading is not best:
            continue
        delay_us = reading.delay_us - reading.delay_us[_first(best)]
        turn_us = 1e6 / reading.frequency_hz
        turns = (coarse_us - delay_us) / turn_us
        whole = np.rint(turns)
        sure = np.abs(turns - whole) < _CERTAIN_TURNS  # not where either is not a number
        coarse_us = delay_us + np.where(sure, whole, 0.0) * turn_us
    return coarse_us


def _first(reading: DelaysReading) -> int:
    return int(np.flatnonzero(np.isfinite(reading.delay_us))[0])


def _line(
    delay_us: NDArray[np.float64], places: NDArray[np.float64], valid: NDArray[np.intp]
) -> tuple[float, NDArray[np.float64]]:
    """Slope of the least-squares line through the delays, and what they lie above it."""
    across = places[valid] - places[valid].mean()
    off = delay_us[valid] - delay_us[valid].mean()
    slope = float(across @ off / (across @ across))
    scatter = np.full(len(delay_us), np.nan)
    scatter[valid] = off - slope * across
    return slope, scatter
