"""What is left of one track beside its tones, made loud enough to be heard and never too loud."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag
from fluxbench.measure import LeftOver
from fluxbench.signals import PerTrack, Signal, Silence, Tone, Tones

F32 = NDArray[np.float32]

LOUDEST = 0.25
"""Of full scale, -12 dBFS: no sample is above it, whatever comes back."""
SETTLES_S = 0.6
"""Nothing is heard for so long after a change: tape delay, the tone's ramp, the filter's memory."""
RISES_S = 0.1


@dataclass(frozen=True, slots=True)
class Listening:
    """Which track (from 0) is listened to, and how much louder what is left is made."""

    track: int
    gain_db: float = 40.0


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of some 20 ms of a track (from 0), as 16-bit samples (n,), and their rate."""

    track: int
    rate_hz: int
    samples: NDArray[np.int16]


class Ear:
    """Listens to what is left; `listen` to None costs nothing. All methods are for one thread."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._listening: Listening | None = None
        self._heard: tuple[Listening, tuple[float, ...]] | None = None
        self._left_over = LeftOver(rate_hz, ())
        self._since = 0

    def listen(self, listening: Listening | None) -> None:
        """Listen to another track from the next block on, or to none."""
        self._listening = listening

    def hear(self, block: Block, signal: Signal, tones_hz: tuple[float, ...]) -> Left | None:
        """What is left of a block (frames, tracks) beside what is sent and what is listened for.

        Silence while something is sent that is no tone, after every change and after lost frames.
        None while nobody listens, or to a track that there is not.
        """
        listening = self._listening
        if listening is None or listening.track >= block.samples.shape[1]:
            self._heard = None
            return None
        sent_hz = _sent_hz(signal, listening.track)
        frequencies_hz = tuple(sorted({*tones_hz, *(sent_hz or ())}))
        if (listening, frequencies_hz) != self._heard:
            self._heard = listening, frequencies_hz
            self._left_over = LeftOver(self._rate_hz, frequencies_hz)
            self._since = 0
        left = self._left_over.process(np.ascontiguousarray(block.samples[:, listening.track]))
        if sent_hz is None or block.flags != Flag.NONE:
            self._since = 0
        sound = _bounded(left * 10.0 ** (listening.gain_db / 20.0)) * self._rise(len(left))
        rate_hz = self._left_over.rate_hz
        return Left(listening.track, rate_hz, np.round(sound * 32767.0).astype(np.int16))

    def _rise(self, frames: int) -> F32:
        """0 while it settles, then up to 1."""
        since_s = (self._since + np.arange(frames)) / self._left_over.rate_hz
        self._since += frames
        return np.clip((since_s - SETTLES_S) / RISES_S, 0.0, 1.0).astype(np.float32)


def _bounded(sound: F32) -> F32:
    """The same where it is soft, bent so that nothing is louder than the loudest."""
    return np.asarray(LOUDEST * np.tanh(sound / LOUDEST), np.float32)


def _sent_hz(signal: Signal, track: int) -> tuple[float, ...] | None:
    """The tones that are sent to a track, none in silence; None if something else is sent."""
    if isinstance(signal, PerTrack):
        signal = signal.signals[track] if track < len(signal.signals) else Silence()
    if isinstance(signal, Silence):
        return ()
    tones = signal.tones if isinstance(signal, Tones) else (signal,)
    if not all(isinstance(tone, Tone) for tone in tones):
        return None
    return tuple(tone.frequency_hz for tone in tones if isinstance(tone, Tone))
