"""What was read in a capture: frozen results, one a section."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._header import Header
from fluxbench.captures._sections import Kind
from fluxbench.measure import (
    AlongReading,
    EchoesReading,
    HighestOutput,
    LowEndReading,
    MaximumOutput,
    NoiseReading,
    RelativeReading,
    ResponseReading,
    ToneTake,
)


@dataclass(frozen=True, slots=True)
class Crosstalk:
    """What the tone of the `driven` tracks (numbers) leaves on the others, re the nearest."""

    driven: tuple[int, ...]
    reading: RelativeReading


@dataclass(frozen=True, slots=True)
class Remains:
    """What a section holds of a tone from before: erasure, if the tone was erased there.

    `tone_start_s` is where the section of the tone begins.
    """

    frequency_hz: float
    tone_start_s: float
    reading: RelativeReading


@dataclass(frozen=True, slots=True)
class Related:
    """What a section tells beside others, where there are such others."""

    carried: tuple[bool, ...] = ()
    """Of a tone: which tracks carry it and do not only hold what others leave; empty: all."""
    crosstalk: Crosstalk | None = None
    modulation: RelativeReading | None = None
    """Noise that comes with the tone, less that of the nearest noise section, re the tone."""
    remains: tuple[Remains, ...] = ()
    echoes: EchoesReading | None = None
    along: AlongReading | None = None
    """Of a long tone: its level second by second."""
    low_end: tuple[LowEndReading, ...] = ()


@dataclass(frozen=True, slots=True)
class AlongReel:
    """One tone at several places of a reel, at like levels; `starts_s` of its sections."""

    frequency_hz: float
    starts_s: tuple[float, ...]
    reading: AlongReading


@dataclass(frozen=True, slots=True)
class LevelSweep:
    """One tone at rising levels, section by section.

    Levels in dBFS. What was sent is not in a file: `step_db` is what each step is believed to be,
    from the lowest ones, or NaN where these are uneven; compression (steps, tracks) and the
    highest output need it, the output at 3 % third harmonic does not. `highest` is None of long
    waves, which bend before they saturate.
    """

    frequency_hz: float
    starts_s: tuple[float, ...]
    step_db: float
    maximum: tuple[MaximumOutput, ...]
    highest: tuple[HighestOutput, ...] | None
    compression_db: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SteppedResponse:
    """Tones one after the other as one response, and its low end, one a track."""

    response: ResponseReading
    low_end: tuple[LowEndReading, ...]


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
    related: Related = Related()

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
    along: tuple[AlongReel, ...] = ()
    level_sweeps: tuple[LevelSweep, ...] = ()
    stepped: SteppedResponse | None = None
