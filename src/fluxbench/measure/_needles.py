"""How a VU meter and programme meters would move, on a plain scale of decibels."""

import numpy as np
import scipy
from numpy.typing import NDArray

from fluxbench.measure._spectrum import Samples
from fluxbench.trade import VU_DAMPING, VU_NATURAL_RAD_PER_S, ProgrammeMeter

F64 = NDArray[np.float64]

_SMOOTH_HZ = 1000.0
"""The movement is far slower than this; it is stepped so often."""
_MEAN_OF_SINE = 2.0 / np.pi


class VuNeedles:
    """VU meters of all tracks: full-wave rectified mean and a second-order movement.

    Parameters
    ----------
    rate_hz
        Sample rate in Hz, 2,000 or more.
    tracks
        How many tracks.

    Notes
    -----
    IEC 60268-17: 99 % of a sudden tone in 300 ms and 1 to 1.5 % beyond, by the constants of
    `trade.VU_DAMPING`. The rectified signal is averaged over a millisecond and then held, for
    which the movement is stepped exactly.

    Examples
    --------
    A sine of amplitude 1 comes to rest at 1.

    >>> sine = np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[:, None]
    >>> round(float(VuNeedles(48_000, 1).move(sine)[-1, 0]), 3)
    1.0
    """

    def __init__(self, rate_hz: float, tracks: int) -> None:
        self._step = max(round(rate_hz / _SMOOTH_HZ), 1)
        self.points_per_s = rate_hz / self._step
        natural = VU_NATURAL_RAD_PER_S
        movement = ([natural**2], [1.0, 2.0 * VU_DAMPING * natural, natural**2])
        (above,), below, _ = scipy.signal.cont2discrete(
            movement, self._step / rate_hz, method="zoh"
        )
        self._above, self._below = above, below
        self._state = np.zeros((max(len(above), len(below)) - 1, tracks))
        self._kept = np.zeros((0, tracks))

    def move(self, samples: Samples) -> F64:
        """Take frames (frames, tracks); give the deflection (points, tracks), a sine's peak = 1.

        A point says where the needle stands at its beginning.
        """
        size = np.concatenate([self._kept, np.abs(samples)])
        points = len(size) // self._step
        self._kept = size[points * self._step :]
        means = size[: points * self._step].reshape(points, self._step, -1).mean(axis=1)
        moved, self._state = scipy.signal.lfilter(
            self._above, self._below, means / _MEAN_OF_SINE, axis=0, zi=self._state
        )
        return np.asarray(moved)


class ProgrammeNeedles:
    """Programme meters of all tracks: a quasi-peak detector for one of the standard's types.

    Parameters
    ----------
    rate_hz
        Sample rate in Hz, 44,100 or more.
    tracks
        How many tracks; for the few that are looked at, since every sample is a step.
    meter
        `trade.PROGRAMME_METERS["I"]` or `["IIa"]`.

    Examples
    --------
    A steady sine of amplitude 1 comes to rest at 1; 5 ms of it read 2 dB less on type I.

    >>> from fluxbench.trade import PROGRAMME_METERS
    >>> sine = np.sin(2 * np.pi * 5000 * np.arange(48_000) / 192_000)[:, None]
    >>> needles = ProgrammeNeedles(192_000, 1, PROGRAMME_METERS["I"])
    >>> moved = needles.move(sine)[:, 0]
    >>> round(float(20 * np.log10(moved[959]))), round(float(moved[-1]), 2)
    (-2, 1.0)
    """

    def __init__(self, rate_hz: float, tracks: int, meter: ProgrammeMeter) -> None:
        self._charge = 1.0 - np.exp(-1.0 / rate_hz / meter.charge_s)
        self._fall = 1.0 - np.exp(-1.0 / rate_hz / meter.discharge_s)
        self._rest = meter.of_sine_ratio
        self._state = np.zeros(tracks)

    def move(self, samples: Samples) -> F64:
        """Take frames (frames, tracks); give the indication (frames, tracks), a sine's peak = 1."""
        indicated = np.empty(samples.shape)
        state = self._state
        for size, out in zip(np.abs(np.asarray(samples, np.float64)), indicated, strict=True):
            above = size - state
            state = state + np.where(above > 0.0, self._charge, self._fall) * above
            out[:] = state
        self._state = state
        return indicated / self._rest
