"""How much faster inputs count than outputs, from a tone that one sends and the other hears."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure._bank import Hop

F64 = NDArray[np.float64]


class ClockDrift:
    """Drift from the hops of one steady tone, cut wherever frames were lost.

    Between two cuts the phase of the tone is a straight line over time; the slope is common to all
    pieces, the height is not, so that frames that a driver leaves out or repeats because of the
    drift do not count as drift. Least squares, hop by hop, at no cost in memory.

    Parameters
    ----------
    rate_hz, tone_hz, channels
        Sample rate, the tone that is sent (the first that the hops listen to), and how many
        channels hear it.

    Examples
    --------
    An input whose clock is 50 millionths fast hears 1 kHz as 999.95 Hz.

    >>> from fluxbench.base import Block
    >>> from fluxbench.measure import EnvelopeBank
    >>> heard = np.sin(2 * np.pi * 999.95 * np.arange(48_000) / 48_000).astype(np.float32)
    >>> drift = ClockDrift(48_000, 1000.0, 1)
    >>> for hop in EnvelopeBank(48_000, 1, (1000.0,)).process(Block(heard[:, None], 0))[2:]:
    ...     drift.see(hop)
    >>> round(float(drift.drift_ppm[0]), 1)
    50.0
    """

    def __init__(self, rate_hz: float, tone_hz: float, channels: int) -> None:
        self._rate_hz, self._tone_hz = rate_hz, tone_hz
        self._whole_tt = 0.0
        self._whole_tp = np.zeros(channels)
        self._bends = 0
        self._bend2 = np.zeros(channels)
        self._held: Hop | None = None
        self._begin()

    def _begin(self) -> None:
        """A new piece of line."""
        self._count = 0
        self._mean_t = self._tt = 0.0
        self._mean_p, self._tp = np.zeros_like(self._bend2), np.zeros_like(self._bend2)
        self._before: list[F64] = []

    def see(self, hop: Hop) -> None:
        """Take a hop; the one before a loss is left out, since the loss may reach into it."""
        if hop.lost:
            self._held = None
            self._whole_tt += self._tt
            self._whole_tp += self._tp
            self._begin()
            return
        if self._held is not None:
            self._take(self._held)
        self._held = hop

    def _take(self, hop: Hop) -> None:
        phase = np.angle(hop.envelope[:, 0].astype(np.complex128).sum(axis=0))
        if self._before:
            turned = phase - self._before[-1]
            phase = self._before[-1] + turned - 2.0 * np.pi * np.round(turned / (2.0 * np.pi))
        if len(self._before) == 2:
            self._bends += 1
            self._bend2 += (phase - 2.0 * self._before[1] + self._before[0]) ** 2
        self._before = [*self._before[-1:], phase]
        self._count += 1
        time_s = hop.first_frame / self._rate_hz
        off_s = time_s - self._mean_t
        self._mean_t += off_s / self._count
        self._mean_p += (phase - self._mean_p) / self._count
        self._tt += off_s * (time_s - self._mean_t)
        self._tp += off_s * (phase - self._mean_p)

    @property
    def drift_ppm(self) -> F64:
        """Positive: the input counts faster; (channels,), NaN before two hops in a row."""
        tt = self._whole_tt + self._tt
        if tt <= 0.0:
            return np.full_like(self._bend2, np.nan)
        slope = (self._whole_tp + self._tp) / tt
        heard = 1.0 + slope / (2.0 * np.pi * self._tone_hz)
        return np.asarray(1e6 * (1.0 / heard - 1.0))

    @property
    def error_ppm(self) -> F64:
        """Standard error, from how much the phase bends from hop to hop; (channels,).

        Of white noise a second difference has six times the variance (closed form).
        """
        tt = self._whole_tt + self._tt
        if tt <= 0.0 or not self._bends:
            return np.full_like(self._bend2, np.nan)
        spread = np.sqrt(self._bend2 / self._bends / 6.0 / tt)
        return np.asarray(1e6 * spread / (2.0 * np.pi * self._tone_hz))
