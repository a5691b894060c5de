"""One signal after the other, each at its level for a stated time: the line-up tones of a reel."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.signals._descriptions import Signal, Silence, Tone
from fluxbench.signals._sender import Sender
from fluxbench.trade import SLATE_HZ, SLATE_LEVEL_DB, LineUpTone

RAMP_S = 0.02
PAUSE_S = 2.0
PIP_S = 0.1
"""With its ramps shorter than what `fluxbench read` takes for a tone."""
PIP_EVERY_S = 1.0

_BLOCK_FRAMES = 8192


@dataclass(frozen=True, slots=True)
class Passage:
    """A signal that stands at its level for `hold_s`, after the fade from the one before."""

    signal: Signal
    hold_s: float
    number: int = 0
    """Of the line-up tone, from 1; 0 for slates and silence."""


def line_up_passages(
    tones: Sequence[LineUpTone], zero_vu_dbfs: float, *, slated: bool = True
) -> tuple[Passage, ...]:
    """The line-up tones with silence of 2 s before, between and after them.

    Slated, a tone is announced by as many pips of a low tone, one a second, as its number says,
    and 2 s of silence. `zero_vu_dbfs` is the level of a sine that reads 0 VU.
    """
    pause = Passage(Silence(), PAUSE_S)
    pip = Passage(Tone(SLATE_HZ, zero_vu_dbfs + SLATE_LEVEL_DB), PIP_S)
    between = Passage(Silence(), PIP_EVERY_S - PIP_S - 2.0 * RAMP_S)
    passages = [pause]
    for number, tone in enumerate(tones, start=1):
        if slated:
            passages += [pip, between] * (number - 1) + [pip, pause]
        signal = Tone(tone.frequency_hz, zero_vu_dbfs + tone.level_db)
        passages += [Passage(signal, tone.duration_s, number), pause]
    return tuple(passages)


class PassageSender:
    """Renders passages on all tracks, block by block; `spans` says beforehand what stands where.

    A passage takes one ramp more than it holds its level, so that it holds it in full. Raises
    `SignalError` for what `Sender` cannot send, before anything is rendered.
    """

    def __init__(
        self, passages: Sequence[Passage], rate_hz: int, tracks: int, ramp_s: float = RAMP_S
    ) -> None:
        self.passages = tuple(passages)
        self.rate_hz, self.tracks = rate_hz, tracks
        self._ramp_s, ramp_frames = ramp_s, max(1, round(ramp_s * rate_hz))
        trial = self._sender()
        spans, at = [], 0
        for passage in self.passages:
            trial.send(passage.signal)
            begin = at + ramp_frames
            at = begin + round(passage.hold_s * rate_hz)
            spans.append((begin, at))
        self.spans = tuple(spans)
        """First frame at full level and the frame after the last, for every passage."""
        self.frames = at

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """All samples from the first on, in blocks of shape (frames, tracks), full scale 1."""
        sender, at = self._sender(), 0
        for passage, (_, end) in zip(self.passages, self.spans, strict=True):
            sender.send(passage.signal)
            while at < end:
                frames = min(_BLOCK_FRAMES, end - at)
                yield sender.block(frames)
                at += frames

    def _sender(self) -> Sender:
        return Sender(self.rate_hz, self.tracks, self._ramp_s)
