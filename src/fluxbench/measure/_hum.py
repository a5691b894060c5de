"""Mains lines in noise: those that stand out, and none that chance makes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv

from fluxbench.measure._spectrum import Band
from fluxbench.trade import MAINS_HZ

F64 = NDArray[np.float64]

HIGHEST_HUM_HZ = 660.0
_ORDERS = 11
_WIDEST_HALF_HZ = 1.0
_LINES_WIDE = 3.0
"""Half of the band of a line in a short piece, in lines of its spectrum."""
_MAINS_WANDER = 0.004
_BESIDE_HZ = 4.0
_FEW = 5
"""Lines of a band in which no top can be told from an edge."""
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
        self._inside, self._noise, self._moment, self._own = np.zeros((4, *shape))
        self._independent = np.zeros(len(LINES_HZ))
        self._effective_s = 0.0
        self._seconds = 0.0

    def add(self, band: Band) -> None:
        """Take the lines of a piece, 0 to `HIGHEST_HUM_HZ` and a little more."""
        power = band.power(slice(None))
        seconds = band.duration_s
        self._effective_s += band.effective_s
        self._seconds += seconds
        at_hz = band.frequencies_hz
        for row, line_hz in enumerate(LINES_HZ):
            half_hz = half_band_of(line_hz, seconds)
            inside = band.between(line_hz - half_hz, line_hz + half_hz)
            reach_hz = half_hz + _BESIDE_HZ
            below = band.between(line_hz - reach_hz, line_hz - half_hz)
            above = band.between(line_hz + half_hz, line_hz + reach_hz)
            beside = np.concatenate([power[below], power[above]])
            noise = np.median(beside, axis=0) / np.log(2.0)
            count = inside.stop - inside.start
            self._independent[row] += 2.0 * half_hz * band.effective_s
            top = np.argmax(power[inside], axis=0)
            # The median of few lines is biased; but both sides are 8 Hz, hundreds of lines in 32 s.
            whole = seconds * power[inside].sum(axis=0)
            self._inside[row] += whole
            self._own[row] += whole * ((count < _FEW) | ((top > 0) & (top < count - 1)))
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
        self._own += other._own
        self._independent += other._independent
        self._effective_s += other._effective_s
        self._seconds += other._seconds

    def lines(self) -> tuple[tuple[HumLine, ...], ...]:
        """The lines of every track, rising in frequency."""
        tracks = self._inside.shape[1]
        if self._seconds == 0.0:
            return tuple(() for _ in range(tracks))
        found: list[list[HumLine]] = [[] for _ in range(tracks)]
        for row in range(len(LINES_HZ)):
            independent = max(float(self._independent[row]), 1.0)
            beside = max(2.0 * _BESIDE_HZ * self._effective_s, 1.0)
            limit = gammainccinv(independent, _CHANCE) / independent
            limit *= 1.0 + 6.0 / np.sqrt(beside)
            inside, noise = self._inside[row] / self._seconds, self._noise[row] / self._seconds
            own = self._own[row] > 0.5 * self._inside[row]
            for track in np.flatnonzero((inside > limit * noise) & (inside > 0.0) & own):
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


def half_band_of(line_hz: float, seconds: float) -> float:
    """Half the band of a mains line in a piece of so many seconds.

    Mains wander by 0.4 % at most (0.2 Hz of 50 where a large grid is sound; from memory). A tone on
    the tape is off by the speed, and what it spills into the band rises towards the band's edge:
    only what has a top of its own inside is hum.
    """
    return max(_MAINS_WANDER * line_hz, min(_WIDEST_HALF_HZ, _LINES_WIDE / seconds))
