"""An engine host without a process: it steps the engine in the session's thread, as fast as that
asks, on a deck of wires. Faults are put into it by the tests."""

import time
from dataclasses import replace

import numpy as np

from fluxbench.base import Cables
from fluxbench.engine import ChannelTrims, Engine, EvenLink, Listening
from fluxbench.links import DeckLink
from fluxbench.measure import Wanted, measured
from fluxbench.session._engine_host import EngineHost, Run
from fluxbench.session._engine_process import (
    Failed,
    Heard,
    LinkFactory,
    Message,
    Ready,
    Settings,
    Weighed,
)
from fluxbench.signals import Signal, Silence

RATE_HZ = 8000


class WireDeck:
    """What goes in comes out."""

    rate_hz = RATE_HZ

    def __init__(self, tracks: int) -> None:
        self.tracks = tracks

    def process(self, send: np.ndarray) -> np.ndarray:
        return send.copy()


class Key:
    """The silence key."""

    def __init__(self) -> None:
        self.on = False

    def is_set(self) -> bool:
        return self.on

    def put(self, on: bool) -> None:
        self.on = on


class InlineHost:
    """Takes the place of `EngineHost`; `tracks` is how many the next engine has."""

    tracks = 2
    pace_s = 0.002

    def __init__(self, open_link: object) -> None:
        self.silence = Key()
        self.settings = Settings(0, Silence(), (1000.0,))
        self.pid = None
        self.starts = 0
        self.beats = 0
        self.dies = False
        self._listening: Listening | None = None
        self._engine: Engine | None = None
        self._messages: list[Message] = []

    def start(self) -> None:
        self.starts += 1
        listening = Cables.listening(self.tracks)
        self._link = EvenLink(DeckLink(WireDeck(self.tracks)))
        self._engine = Engine(self._link, self.tracks, 0.02, listening)
        self._messages.append(Ready(RATE_HZ, self.tracks, self.tracks))

    def set(
        self,
        signal: Signal,
        tones_hz: tuple[float, ...],
        stretch: Wanted | None = None,
        cables: Cables | None = None,
        trims: ChannelTrims | None = None,
    ) -> None:
        trims = self.settings.trims if trims is None else trims
        wanted = Settings(self.settings.number, signal, tones_hz, stretch, cables, trims)
        if wanted != self.settings:
            self.settings = replace(wanted, number=wanted.number + 1)

    def overhear(self, listening: Listening | None) -> None:
        self._listening = listening

    def beside(self, open_link: LinkFactory, run: Run) -> EngineHost:
        return EngineHost(open_link, run)

    def beat(self) -> None:
        self.beats += 1

    def poll(self, timeout_s: float) -> list[Message]:
        time.sleep(self.pace_s)
        if self.dies:
            self.dies, self._engine = False, None
            return [Failed("measuring has stopped; it is started again", again=True)]
        messages, self._messages = self._messages, []
        if self._engine is not None:
            self._link.trim(self.settings.trims)
            if self.settings.cables is not None:
                self._engine.cable(self.settings.cables)
            self._engine.send(self.settings.signal)
            self._engine.listen(self.settings.tones_hz)
            self._engine.keep(self.settings.stretch)
            self._engine.overhear(self._listening)
            hops = tuple(self._engine.step())
            messages.append(Heard(self.settings.number, hops, left=self._engine.left))
            for one in self._engine.stretches():
                found = measured(one.wanted, one.samples, RATE_HZ, lost=one.lost)
                messages.append(Weighed(self.settings.number, found))
        return messages

    def stop(self) -> None:
        self._engine = None
