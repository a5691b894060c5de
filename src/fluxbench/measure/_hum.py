"""Mains lines in noise: those that stand out, and none that chance makes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv

from fluxbench.measure._spectrum import Band

F64 = NDArray[np.float64]

MAINS_HZ = (50.0, 60.0)
HIGHEST_HUM_HZ = 660.0
_ORDERS = 11
_HALF_HZ = 1.0
_MAINS_WANDER = 0.005
_BESIDE_HZ = 4.0
_CHANCE = 1e-8
"""Probability that noise alone makes one line."""

LINES_HZ = tuple(sorted({order * mains for mains in MAINS_HZ for order in range(1, _ORDERS + 1)}))


@dataclass(frozen=True, slots=True)
class HumLine:
    """A multiple of the mains frequency that stands out of the noise."""

    frequency_hz: float
    level_dbfs: float
    standard_error_db: float


class HumSums:
    """What was held at every multiple of the mains, added up over pieces."""

    def __init__(self, tracks: int) -> None:
        shape = (len(LINES_HZ), tracks)
        self._inside, self._noise, self._moment = np.zeros((3, *shape))
        self._effective_s = 0.0
        self._seconds = 0.0

    def add(self, band: Band) -> None:
        """Take the lines of a piece, 0 to `HIGHEST_HUM_HZ` and a little more."""
        power = np.abs(band.lines) ** 2
        seconds = band.duration_s
        self._effective_s += band.effective_s
        self._seconds += seconds
        at_hz = band.frequencies_hz
        for row, line_hz in enumerate(LINES_HZ):
            half_hz = half_band_of(line_hz)
            inside = band.between(line_hz - half_hz, line_hz + half_hz)
            reach_hz = half_hz + _BESIDE_HZ
            below = band.between(line_hz - reach_hz, line_hz - half_hz)
            above = band.between(line_hz + half_hz, line_hz + reach_hz)
            beside = np.concatenate([power[below], power[above]])
            noise = np.median(beside, axis=0) / np.log(2.0)
            count = inside.stop - inside.start
            # The median of few lines is biased; but both sides are 8 Hz, hundreds of lines in 32 s.
            self._inside[row] += seconds * power[inside].sum(axis=0)
            self._noise[row] += seconds * noise * count
            held = np.maximum(power[inside] - noise, 0.0)
            self._moment[row] += (
                seconds * (at_hz[inside] @ held) / np.maximum(held.sum(axis=0), 1e-30)
            )

    def also(self, other: "HumSums") -> None:
        """Take in what another one added up, of the same tracks."""
        self._inside += other._inside
        self._noise += other._noise
        self._moment += other._moment
        self._effective_s += other._effective_s
        self._seconds += other._seconds

    def lines(self) -> tuple[tuple[HumLine, ...], ...]:
        """The lines of every track, rising in frequency."""
        tracks = self._inside.shape[1]
        if self._seconds == 0.0:
            return tuple(() for _ in range(tracks))
        found: list[list[HumLine]] = [[] for _ in range(tracks)]
        for row, line_hz in enumerate(LINES_HZ):
            half_hz = half_band_of(line_hz)
            independent = max(2.0 * half_hz * self._effective_s, 1.0)
            beside = max(2.0 * _BESIDE_HZ * self._effective_s, 1.0)
            limit = gammainccinv(independent, _CHANCE) / independent
            limit *= 1.0 + 6.0 / np.sqrt(beside)
            inside, noise = self._inside[row] / self._seconds, self._noise[row] / self._seconds
            for track in np.flatnonzero((inside > limit * noise) & (inside > 0.0)):
                power = inside[track] - noise[track]
                ratio = noise[track] / power
                relative = np.sqrt((2.0 * ratio + ratio**2) / independent)
                found[track].append(
                    HumLine(
                        float(self._moment[row, track] / self._seconds),
                        float(10.0 * np.log10(2.0 * power)),
                        float(10.0 / np.log(10.0) * relative),
                    )
                )
        return tuple(tuple(track) for track in found)


def half_band_of(line_hz: float) -> float:
    """Half the band of a mains line: the mains wander by half a per cent at most."""
    return max(_HALF_HZ, _MAINS_WANDER * line_hz)
