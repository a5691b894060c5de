"""The block generator: whatever is asked for next, no click."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, SignalError
from fluxbench.signals._descriptions import PerTrack, Signal, Silence, Sweep, TrackSignal
from fluxbench.signals._voices import Voice, raised_cosine, voice_of


class _Layer:
    """A signal on all tracks and the frame at which it began to fade in."""

    def __init__(
        self, signal: Signal, rate_hz: int, tracks: int, first_frame: int, ramp_s: float
    ) -> None:
        self.signal, self.first_frame = signal, first_frame
        parts = signal.signals if isinstance(signal, PerTrack) else (signal,)
        distinct: list[TrackSignal] = list(dict.fromkeys(parts))
        self.sweeps = any(isinstance(part, Sweep) for part in distinct)
        self._voices: list[Voice] = [voice_of(s, rate_hz, first_frame, ramp_s) for s in distinct]
        self._voice_of_track = [distinct.index(part) for part in parts]
        if isinstance(signal, PerTrack) and len(parts) != tracks:
            raise SignalError(f"{len(parts)} signals for {tracks} tracks: give each track one")

    def render(self, first_frame: int, frames: int) -> NDArray[np.float32]:
        """Samples of shape (frames, tracks), or (frames, 1) if all tracks carry the same."""
        columns = [voice.render(first_frame, frames) for voice in self._voices]
        rendered = np.stack(columns, axis=1).astype(np.float32)
        return rendered if len(columns) == 1 else rendered[:, self._voice_of_track]


class Sender:
    """Generates what is sent, block by block, to all tracks.

    The phase of a tone is a function of the absolute frame, so the same frequency at another
    level goes on in phase. Every change fades over `ramp_s` along a raised cosine from whatever
    is being sent, a running fade included; so the samples never exceed the larger of both peaks.
    """

    def __init__(self, rate_hz: int, tracks: int, ramp_s: float = 0.05) -> None:
        if rate_hz <= 0 or tracks < 1 or not ramp_s > 0.0:
            raise MisuseError(
                f"cannot send {tracks} tracks at {rate_hz} Hz with ramps of {ramp_s} s:"
                " all three must be above zero"
            )
        self.rate_hz, self.tracks = rate_hz, tracks
        self._ramp_s, self._ramp_frames = ramp_s, max(1, round(ramp_s * rate_hz))
        self._frame = 0
        self._layers = [self._layer(Silence())]

    @property
    def sent_frames(self) -> int:
        """How many frames have been generated so far: the number of the next one."""
        return self._frame

    @property
    def signal(self) -> Signal:
        """What was asked for last."""
        return self._layers[-1].signal

    def send(self, signal: Signal) -> None:
        """Fade to a signal from the next block on; a sweep starts anew each time it is sent.

        Raises `SignalError`, and goes on sending as before, if a frequency is not between 0 and
        half the rate, or the peak lies above full scale, or tracks and signals differ in number.
        """
        if signal == self.signal and not self._layers[-1].sweeps:
            return
        layer = self._layer(signal)
        if len(self._layers) > 1 and self._layers[-1].first_frame == self._frame:
            self._layers.pop()  # not one frame of it was sent
        self._layers.append(layer)

    def silence(self) -> None:
        """Fade to silence from the next block on."""
        self.send(Silence())

    def block(self, frames: int) -> NDArray[np.float32]:
        """Generate the next frames, shape (frames, tracks)."""
        mixed = self._layers[0].render(self._frame, frames)
        for layer in self._layers[1:]:
            faded = self._frame + 1 - layer.first_frame + np.arange(frames)
            weight = raised_cosine(faded / self._ramp_frames).astype(np.float32)[:, None]
            mixed = mixed + weight * (layer.render(self._frame, frames) - mixed)
        self._frame += frames
        while len(self._layers) > 1 and self._any_faded_in():
            del self._layers[0]
        sent = np.empty((frames, self.tracks), np.float32)
        sent[:] = mixed
        return sent

    def _any_faded_in(self) -> bool:
        return any(
            self._frame - layer.first_frame >= self._ramp_frames for layer in self._layers[1:]
        )

    def _layer(self, signal: Signal) -> _Layer:
        return _Layer(signal, self.rate_hz, self.tracks, self._frame, self._ramp_s)
