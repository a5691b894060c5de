"""Wow and flutter of a speed tone: weighted quasi-peak, 2 sigma, unweighted, and its parts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._spectrum import Samples


@dataclass(frozen=True, slots=True)
class RotatingPart:
    """A part of the deck that turns, and how often it should at the speed in use."""

    name: str
    rate_hz: float


@dataclass(frozen=True, slots=True)
class FlutterComponent:
    """One line of the flutter spectrum, mean of the valid tracks.

    `part` and `harmonic` say what it was matched to; "" and 0 if nothing expected turns so.
    """

    frequency_hz: float
    peak_percent: float
    part: str
    harmonic: int


@dataclass(frozen=True, slots=True)
class PartReading:
    """What was found of a rotating part; NaN for both if it does not stand out."""

    name: str
    expected_hz: float
    found_hz: float
    peak_percent: float


@dataclass(frozen=True, slots=True)
class FlutterReading:
    """Speed deviations of a speed tone; arrays have one number a track, NaN if not valid.

    All are peak values, "plus and minus": half of the peak to peak for the quasi-peak.
    `unweighted_percent` is the greatest deviation within 0.1 to 200 Hz.
    """

    frequency_hz: float
    duration_s: float
    weighted_quasi_peak_percent: NDArray[np.float64]
    weighted_2_sigma_percent: NDArray[np.float64]
    weighted_2_sigma_standard_error_percent: NDArray[np.float64]
    unweighted_percent: NDArray[np.float64]
    components: tuple[FlutterComponent, ...]
    """Largest first."""
    parts: tuple[PartReading, ...]
    validity: tuple[Validity, ...]


def flutter(
    samples: Samples, rate_hz: float, frequency_hz: float, parts: Sequence[RotatingPart] = ()
) -> FlutterReading:
    """Measure wow and flutter of a 3,150 or 3,000 Hz tone of 5 s or more on every track."""
    raise NotImplementedError
