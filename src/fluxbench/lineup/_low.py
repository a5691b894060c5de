"""The low end: a fit over six long waves of the deck's own recording, not a single 100 Hz tone."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import Point
from fluxbench.measure import power_dbfs
from fluxbench.signals import PerTrack, Tone, Tones

MEAN_OF_HZ = (40.0, 50.0, 63.0, 80.0, 100.0, 125.0)
ODD_HZ = (41.0, 53.5, 66.0, 83.0, 104.5, 127.0)
EVEN_HZ = (38.0, 46.5, 63.5, 78.0, 96.0, 123.5)
"""Odd and even tracks get tones of their own: long waves cross over to the neighbours.

All stand 2.5 Hz and more from each other and from mains lines."""
LEVEL_DB = -20.0
WINDOW_S = 1.0


LEAST_LEFT, TIMES_LEFT, REMEMBERED = 0.002, 4.0, 60
"""What the six tones leave over of the signal's power: more than so many times the usual spoils it.

A hole of 10 ms in 1 s leaves a hundredth, and moves the level by nearly a tenth of a decibel."""


class LowEnd:
    """Mean level of the six long waves against 1 kHz, over the last second."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._past: list[F64] = []
        self._left: deque[F64] = deque(maxlen=REMEMBERED)
        odd = _gets_odd(bench)
        self._sets = [(who, Comb(tones)) for who, tones in ((odd, ODD_HZ), (~odd, EVEN_HZ))]

    def read(self, point: Point) -> F64:
        """Deviation (tracks,), NaN until a second is there."""
        out = np.full(self._bench.plan.tracks, np.nan)
        if point.lost:
            self._past.clear()
            return out
        self._past.append(point.envelope[:, 1].real.astype(np.float64))
        del self._past[: -round(WINDOW_S * 10)]
        if len(self._past) < round(WINDOW_S * 10):
            return out
        signal = np.concatenate(self._past)
        left = np.zeros(len(out))
        for who, comb in self._sets:
            if who.any():
                out[who], left[who] = comb.mean_db(signal[:, who])
        self._left.append(left)
        usual = np.median(self._left, axis=0)
        out[left > np.maximum(LEAST_LEFT, TIMES_LEFT * usual)] = np.nan
        return np.asarray(out - self._bench.plan.zero_dbfs - point.level_db[0])


class Comb:
    """Six known tones fitted together to a second; the fit is the same every time."""

    def __init__(self, tones_hz: tuple[float, ...]) -> None:
        self._tones_hz = tones_hz
        self._solver = np.zeros((0, 0))
        self._model = np.zeros((0, 0))

    def mean_db(self, signal: F64) -> tuple[F64, F64]:
        """Mean level (tracks,) in dBFS at `MEAN_OF_HZ`, by a curve through the six tones.

        And the part of the power that the tones leave over (tracks,).
        """
        if self._solver.shape[1] != len(signal):
            self._solver, self._model = self._prepared(len(signal))
        fit = self._solver @ signal
        count = len(self._tones_hz)
        level = power_dbfs(fit[:count] ** 2 + fit[count : 2 * count] ** 2)
        x = np.log(np.array(self._tones_hz) / 70.0)
        curve = np.polynomial.polynomial.polyfit(x, level, 4)
        at = np.log(np.array(MEAN_OF_HZ) / 70.0)
        power = np.maximum((signal**2).mean(axis=0), 1e-20)
        left = ((signal - self._model @ fit) ** 2).mean(axis=0) / power
        return np.asarray(np.polynomial.polynomial.polyval(at, curve).mean(axis=1)), left

    def _prepared(self, points: int) -> tuple[F64, F64]:
        """Windowed least squares as one matrix, and what it fits: cosines, sines and an offset."""
        t = np.arange(points) * (WINDOW_S / points)
        window = np.hanning(points)[:, np.newaxis]
        angle = 2 * np.pi * np.outer(t, self._tones_hz)
        model = np.concatenate([np.cos(angle), np.sin(angle), np.ones((points, 1))], axis=1)
        return np.asarray(np.linalg.pinv(model * window) * window.T), model


def low_end(bench: Bench) -> Procedure:
    """Turn each track's low end until the six long waves equal 1 kHz in the mean.

    A mult takes the same waves to all tracks, and what crosses over from two neighbours is then in
    step with the track's own, up to half a decibel of it: every other track is recorded on alone.
    """
    if bench.cables.mult is None or bench.in_use.sum() == 1:
        yield from _turn(bench)
        return
    for first in (0, 1):
        every_other = np.arange(bench.plan.tracks) % 2 == first
        if (bench.live & every_other).any():
            bench.silence()
            yield from bench.record_all(every_other)
            bench.live = bench.live & every_other
            try:
                yield from _turn(bench)
            finally:
                bench.plug(bench.cables)
    bench.silence()
    yield from bench.record_all()


def _turn(bench: Bench) -> Procedure:
    plan = bench.plan
    bench.signal = low_signal(bench)
    bench.listen(1000.0, 0.0)
    yield from bench.settle()
    meter = LowEnd(bench)
    job = Job("reproduce_low", plan.tolerances.high_end, 0.8, meter.read, WINDOW_S)
    yield from adjust(bench, job, np.zeros(plan.tracks))


def low_signal(bench: Bench) -> PerTrack:
    """1 kHz and six long waves for every track, 20 dB below 0 VU each."""
    level = bench.plan.zero_dbfs + LEVEL_DB
    odd, even = (
        Tones(tuple(Tone(f, level) for f in (1000.0, *waves_hz))) for waves_hz in (ODD_HZ, EVEN_HZ)
    )
    return PerTrack(tuple(odd if one else even for one in _gets_odd(bench)))


def _gets_odd(bench: Bench) -> NDArray[np.bool_]:
    """Which tracks (tracks,) get the waves of odd ones: a mult takes the same to all."""
    every = np.arange(bench.plan.tracks)
    return np.asarray((every % 2 == 0) | (bench.cables.mult is not None))
