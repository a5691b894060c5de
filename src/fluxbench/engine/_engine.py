"""The engine: what is sent, the stream, what is measured, one step at a time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Cables, Flag
from fluxbench.engine._ear import Ear, Left, Listening
from fluxbench.links import CabledLink, Link
from fluxbench.measure import EnvelopeBank, Hop, Wanted
from fluxbench.signals import Sender, Signal, Silence

STEP_S = 0.04


@dataclass(frozen=True, slots=True)
class Stretch:
    """The return of as many seconds as were wanted, (frames, tracks), to be measured."""

    wanted: Wanted
    samples: NDArray[np.float32]
    lost: bool
    """Whether frames were lost in it."""


class Engine:
    """Sends a signal over a link and gives back hops of what returned.

    `listen`, `send`, `keep`, `cable` and `overhear` take effect with the next step, which is about
    `step_s` long. MisuseError for cables to channels that the link does not have.
    """

    def __init__(
        self, link: Link, tracks: int, step_s: float = STEP_S, cables: Cables | None = None
    ) -> None:
        self.rate_hz = link.rate_hz
        self._cables = cables or Cables.straight(tracks)
        self._link = CabledLink(link, self._cables)
        self._ready_for(tracks)
        hops = max(1, round(step_s * link.rate_hz / self._bank.hop_frames))
        self._frames = hops * self._bank.hop_frames
        self._wanted: Wanted | None = None
        self._keeping: Wanted | None = None
        self._kept: list[Block] = []
        self._slipped = False
        self._done: list[Stretch] = []
        self._ear = Ear(link.rate_hz)
        self.left: Left | None = None
        """What was left beside the tones in the last step, while somebody listens."""

    @property
    def time_s(self) -> float:
        """Frames sent since the start, as seconds."""
        return self._sender.sent_frames / self.rate_hz

    def send(self, signal: Signal) -> None:
        """Send something else from the next step on."""
        self._sender.send(signal)

    def listen(self, frequencies_hz: Sequence[float]) -> None:
        """Measure other tones from the next step on."""
        self._bank.tune(frequencies_hz)

    def cable(self, cables: Cables) -> None:
        """Take over which tracks the channels are cabled to from the next step on.

        A deck with another number of tracks begins anew: frames are counted from 0.
        """
        if cables == self._cables:
            return
        self._link.cable(cables)
        self._cables = cables
        if cables.tracks != self.tracks:
            self._ready_for(cables.tracks)

    def _ready_for(self, tracks: int) -> None:
        self.tracks = tracks
        self._sender = Sender(self.rate_hz, tracks)
        self._bank = EnvelopeBank(self.rate_hz, tracks)

    def overhear(self, listening: Listening | None) -> None:
        """Give out what is left of a track beside its tones, as `left`; None: of none."""
        self._ear.listen(listening)

    def keep(self, wanted: Wanted | None) -> None:
        """Keep the return from the next step on, as long as is wanted; None, or another: no more.

        What is wanted already goes on; what is whole is given out by `stretches`.
        """
        if wanted != self._wanted:
            self._wanted = self._keeping = wanted
            self._kept, self._slipped = [], False

    def stretches(self) -> list[Stretch]:
        """Those that have become whole, once."""
        done, self._done = self._done, []
        return done

    def step(self) -> list[Hop]:
        """Exchange one block and measure it."""
        block = self._link.exchange(self._sender.block(self._frames))
        hops = self._bank.process(block)
        self.left = self._ear.hear(block, self._sender.signal, self._bank.frequencies_hz)
        if self._keeping is not None:
            self._slipped |= any(hop.slipped for hop in hops)
            self._keep(block, self._keeping)
        return hops

    def _keep(self, block: Block, wanted: Wanted) -> None:
        self._kept.append(block)
        if len(self._kept) * self._frames >= wanted.seconds * self.rate_hz:
            lost = self._slipped or any(one.flags != Flag.NONE for one in self._kept)
            samples = np.concatenate([one.samples for one in self._kept])
            self._done.append(Stretch(wanted, samples, lost))
            self._keeping, self._kept = None, []

    def close(self) -> None:
        """Fade to silence, then let the link go."""
        self._sender.send(Silence())
        try:
            for _ in range(3):
                self._link.exchange(self._sender.block(self._frames))
        finally:
            self._link.close()
