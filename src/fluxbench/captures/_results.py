"""What was read in a capture: frozen results, one a section."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._header import Header
from fluxbench.captures._sections import Kind
from fluxbench.measure import NoiseReading, ResponseReading, ToneTake


@dataclass(frozen=True, slots=True)
class MeasuredSection:
    """One section of a capture; one of `tone`, `noise` and `response` is there, by its kind.

    Times are in s from the start of the file; `measured_from_s` is where measuring began, a
    little after the section did. `validity` (one a track) is what the capture says against the
    section, such as a gap in it; the readings have their own. Programme is only told.
    """

    kind: Kind
    start_s: float
    end_s: float
    measured_from_s: float
    validity: tuple[Validity, ...]
    tone: ToneTake | None = None
    noise: NoiseReading | None = None
    response: ResponseReading | None = None

    def track_validity(self) -> tuple[Validity, ...]:
        """Validity of every track in this section; programme is as good as its samples."""
        told = self.validity
        if self.tone is not None:
            told = _worse(told, self.tone.tone.validity)
        if self.noise is not None:
            told = _worse(told, self.noise.validity)
        if self.response is not None:
            columns = list(zip(*self.response.validity, strict=True))
            told = _worse(told, tuple(_of_points(column) for column in columns))
        return told


def _worse(told: tuple[Validity, ...], own: tuple[Validity, ...]) -> tuple[Validity, ...]:
    return tuple(t if t is not Validity.OK else o for t, o in zip(told, own, strict=True))


def _of_points(column: tuple[Validity, ...]) -> Validity:
    """A track is sound if any point of it is."""
    return Validity.OK if Validity.OK in column else column[0]


@dataclass(frozen=True, slots=True)
class CaptureAzimuth:
    """Delays of the tracks from the best tone of a capture; arrays one number a track, or NaN.

    `delay_us` is re `reference_track` (from 1), positive: later. `frequency_hz` is that of the
    tone that it was read from, NaN if there is none.
    """

    validity: Validity
    frequency_hz: float
    reference_track: int | None
    delay_us: NDArray[np.float64]
    delay_standard_error_us: NDArray[np.float64]
    slope_us_per_track: float
    slope_standard_error_us_per_track: float
    scatter_us: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CaptureReading:
    """Everything read in one capture.

    `tracks` are the numbers (from 1) of the tracks that were read, in the order of all arrays.
    """

    path: str
    header: Header
    tracks: tuple[int, ...]
    duration_s: float
    validity: Validity
    notes: tuple[str, ...]
    sections: tuple[MeasuredSection, ...]
    azimuth: CaptureAzimuth
    """Of the tracks with the reversed ones turned round."""
    polarity: tuple[int, ...] = ()
    """By track: -1 for those reversed against the others, 0 where no long wave tells, else 1."""
