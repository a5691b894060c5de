"""Noise of every track: 20 Hz to 20 kHz, A-weighted, BS.468-4 quasi-peak, and hum apart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._spectrum import Samples


@dataclass(frozen=True, slots=True)
class HumLine:
    """A multiple of the mains frequency that stands out of the noise."""

    frequency_hz: float
    level_dbfs: float
    standard_error_db: float


@dataclass(frozen=True, slots=True)
class NoiseReading:
    """Noise; arrays have one number a track, NaN if not valid. A full-scale sine is 0 dBFS.

    `bs468_dbfs` is the mean of the quasi-peak pointer re its reading of a full-scale 1 kHz sine,
    `bs468_highest_dbfs` its highest place. `without_hum_dbfs` is the band without the hum lines.
    """

    duration_s: float
    unweighted_dbfs: NDArray[np.float64]
    unweighted_standard_error_db: NDArray[np.float64]
    a_weighted_dbfs: NDArray[np.float64]
    a_weighted_standard_error_db: NDArray[np.float64]
    bs468_dbfs: NDArray[np.float64]
    bs468_standard_error_db: NDArray[np.float64]
    bs468_highest_dbfs: NDArray[np.float64]
    without_hum_dbfs: NDArray[np.float64]
    hum: tuple[tuple[HumLine, ...], ...]
    """Of every track, rising in frequency; empty where nothing stands out."""
    validity: tuple[Validity, ...]


def noise(samples: Samples, rate_hz: float) -> NoiseReading:
    """Measure the noise of samples that hold nothing else."""
    raise NotImplementedError


class NoiseStream:
    """The same as `noise`, from blocks of any length: memory does not grow with time."""

    def __init__(self, rate_hz: float, tracks: int) -> None:
        raise NotImplementedError

    def add(self, samples: Samples) -> None:
        """Take the next frames, shape (frames, tracks)."""
        raise NotImplementedError

    def reading(self) -> NoiseReading:
        """What was measured; the stream cannot be added to afterwards."""
        raise NotImplementedError
