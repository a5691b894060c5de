"""From a description to samples, for any frame of the stream."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, SignalError
from fluxbench.signals._descriptions import Multitone, Silence, Sweep, Tone, Tones, TrackSignal
from fluxbench.signals._multitone import peak


class Voice(Protocol):
    """One column of samples, full scale 1, as a function of the absolute frame."""

    def render(self, first_frame: int, frames: int) -> NDArray[np.float64]: ...


class SteadyVoice:
    """A sum of sines whose phase is a function of the absolute frame, exact after any time.

    The start phase of a block is worked out in exact fractions; within the block the sines are
    turned from a table by the addition theorem, two multiplications a sample and sine.
    """

    def __init__(
        self,
        rate_hz: int,
        frequencies_hz: Sequence[float],
        amplitudes: Sequence[float],
        phases_rad: Sequence[float],
    ) -> None:
        self._turns = [Fraction(f) / rate_hz for f in frequencies_hz]
        self._steps = 2.0 * np.pi * np.asarray(frequencies_hz, np.float64) / rate_hz
        self._amplitudes = np.asarray(amplitudes, np.float64)
        self._phases_rad = np.asarray(phases_rad, np.float64)
        self._cosines = self._sines = np.empty((len(frequencies_hz), 0))

    def render(self, first_frame: int, frames: int) -> NDArray[np.float64]:
        if frames > self._cosines.shape[1]:
            angles = self._steps[:, None] * np.arange(frames)
            self._cosines, self._sines = np.cos(angles), np.sin(angles)
        turned = np.array([float(turns * first_frame % 1) for turns in self._turns])
        start = 2.0 * np.pi * turned + self._phases_rad
        in_phase = (self._amplitudes * np.sin(start)) @ self._cosines[:, :frames]
        across = (self._amplitudes * np.cos(start)) @ self._sines[:, :frames]
        return np.asarray(in_phase + across)


class SweepVoice:
    """A logarithmic sweep that starts at `origin_frame` and fades out at its end."""

    def __init__(self, rate_hz: int, sweep: Sweep, origin_frame: int, fade_s: float) -> None:
        self._rate_hz, self._sweep, self._origin = rate_hz, sweep, origin_frame
        self._fade_s = min(fade_s, sweep.duration_s)
        self._amplitude = _amplitude(sweep.level_dbfs)

    def render(self, first_frame: int, frames: int) -> NDArray[np.float64]:
        sweep = self._sweep
        time_s = (first_frame - self._origin + np.arange(frames)) / self._rate_hz
        time_s = np.clip(time_s, 0.0, sweep.duration_s)
        growth = np.log(sweep.stop_hz / sweep.start_hz)
        if growth == 0.0:
            cycles = sweep.start_hz * time_s
        else:
            scale_s = sweep.duration_s / growth
            cycles = sweep.start_hz * scale_s * np.expm1(time_s / scale_s)
        fade = raised_cosine((sweep.duration_s - time_s) / self._fade_s)
        return np.asarray(self._amplitude * fade * np.sin(2.0 * np.pi * cycles))


def voice_of(signal: TrackSignal, rate_hz: int, origin_frame: int, ramp_s: float) -> Voice:
    """Build the voice of a track's signal, or raise `SignalError` if it cannot be sent."""
    if isinstance(signal, Sweep):
        _check(rate_hz, (signal.start_hz, signal.stop_hz), _amplitude(signal.level_dbfs))
        if not (np.isfinite(signal.duration_s) and signal.duration_s > 0.0):
            raise SignalError(f"a sweep of {signal.duration_s:g} s cannot be sent: give it a time")
        return SweepVoice(rate_hz, signal, origin_frame, ramp_s)
    if isinstance(signal, Multitone):
        count = len(signal.frequencies_hz)
        if len(signal.phases_rad) != count or not np.all(np.isfinite(signal.phases_rad)):
            raise SignalError("a multitone needs one finite phase for each frequency")
        _check(rate_hz, signal.frequencies_hz, 0.0)
        _check(rate_hz, (), peak(signal))
        amplitudes = [_amplitude(signal.level_dbfs_each)] * count
        return SteadyVoice(rate_hz, signal.frequencies_hz, amplitudes, signal.phases_rad)
    tones = _tones_of(signal)
    frequencies = [tone.frequency_hz for tone in tones]
    amplitudes = [_amplitude(tone.level_dbfs) for tone in tones]
    _check(rate_hz, frequencies, sum(amplitudes))
    return SteadyVoice(rate_hz, frequencies, amplitudes, [0.0] * len(tones))


def raised_cosine(position: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rise from 0 at position 0 to 1 at position 1, level outside."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0)))


def _tones_of(signal: Silence | Tone | Tones) -> tuple[Tone, ...]:
    match signal:
        case Silence():
            return ()
        case Tone():
            return (signal,)
        case Tones():
            return signal.tones
    raise MisuseError(f"a {type(signal).__name__} is no signal that a track can send")


def _amplitude(level_dbfs: float) -> float:
    return float(10.0 ** (level_dbfs / 20.0))


def _check(rate_hz: int, frequencies_hz: Sequence[float], peak_of_all: float) -> None:
    for frequency_hz in frequencies_hz:
        if not 0.0 < frequency_hz < rate_hz / 2.0:
            raise SignalError(
                f"{frequency_hz:g} Hz cannot be sent at {rate_hz} Hz:"
                f" choose a frequency above 0 and below {rate_hz / 2:g} Hz"
            )
    if not peak_of_all <= 1.0 + 1e-9:
        over_db = 20.0 * np.log10(peak_of_all)
        raise SignalError(
            f"the signal's peak lies {over_db:.2f} dB above full scale: lower its level"
        )
