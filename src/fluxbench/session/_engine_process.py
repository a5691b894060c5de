"""The engine in a process of its own: steps, sends hops back, falls silent when nobody cares."""

import os
import queue
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from multiprocessing.sharedctypes import Synchronized
from typing import Any

from fluxbench.base import Cables, DeviceLostError, FluxbenchError, MisuseError
from fluxbench.engine import ChannelTrims, Engine, EvenLink, Left, Listening, LoopBack, Stretch
from fluxbench.links import Link, SilenceKey
from fluxbench.measure import Hop, Measured, Wanted, measured
from fluxbench.session._threads import WatchedThread
from fluxbench.signals import Signal

STEP_S = 0.02
HEARTBEAT_S = 1.0
"""Without a word from the session for so long the engine ends."""
LISTENS_S = 0.05
LAST_BREATH_S = 0.2
"""So long may falling silent take."""
LAST_WORD_S = 2.0
"""So long may whoever is silent take to say why."""
QUEUED = 500
"""Blocks of hops that wait for the session at most: ten seconds."""

LinkFactory = Callable[[SilenceKey], Link]
"""Opens the link inside the engine's process; has to be picklable."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What to send and to listen to from the next step on; `number` comes back with the hops."""

    number: int
    signal: Signal
    tones_hz: tuple[float, ...]
    stretch: Wanted | None = None
    """What the return is to be kept for, and measured."""
    cables: Cables | None = None
    """Which tracks the channels are cabled to; None while there is no deck to speak of."""
    trims: ChannelTrims = field(default_factory=ChannelTrims)
    """What makes the channels of the interface alike in dBu."""


@dataclass(frozen=True, slots=True)
class Ready:
    """The link is open."""

    rate_hz: int
    inputs: int
    outputs: int


@dataclass(frozen=True, slots=True)
class Heard:
    """Hops of one step, measured under the settings of that number; `left_out` hops before it
    found no room; `left` is what somebody listens to."""

    settings: int
    hops: tuple[Hop, ...]
    left_out: int = 0
    left: Left | None = None


@dataclass(frozen=True, slots=True)
class Overhear:
    """What is to be listened to beside the tones from the next step on."""

    listening: Listening | None


@dataclass(frozen=True, slots=True)
class Weighed:
    """A stretch of the return that was wanted under the settings of that number."""

    settings: int
    measured: Measured


@dataclass(frozen=True, slots=True)
class Failed:
    """The engine cannot go on; `again` says whether trying again makes sense."""

    line: str
    again: bool


@dataclass(frozen=True, slots=True)
class Tried:
    """How far the trial of an interface has come, see `run_trial`."""

    doing: str
    levels_dbfs: tuple[float, ...] = ()
    """What stands at every input, a sine's peak."""
    found: LoopBack | None = None


Message = Ready | Heard | Weighed | Failed | Tried


class SharedSilence:
    """The silence key: one byte that both processes see, with no lock that could be left held."""

    def __init__(self, flag: Any) -> None:
        self._flag: Synchronized[int] = flag

    def is_set(self) -> bool:
        """Whether nothing may be sent."""
        return bool(self._flag.value)

    def put(self, on: bool) -> None:
        """Press or release it."""
        self._flag.value = int(on)


def run_engine(
    open_link: LinkFactory, commands: Connection, answers: Connection, silence: SharedSilence
) -> None:
    """Run until told to end, until the session falls silent, or until the link fails."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the session, which then says so
    room = Room(commands, answers)
    room.start()

    def run() -> None:
        link = EvenLink(open_link(silence))
        engine = Engine(link, link.inputs, STEP_S, Cables.listening(link.inputs))
        room.tell(Ready(link.rate_hz, link.inputs, link.outputs))
        let_go = engine.close
        try:
            _step(engine, link, room)
        except DeviceLostError as error:  # told at once: there is nothing left to fade
            room.tell(Failed(str(error), again=True))
            let_go = link.close
        finally:
            room.over.set()
            let_go()

    room.hold(run)


def _step(engine: Engine, link: EvenLink, room: "Room") -> None:
    number = -1
    while not room.over.is_set():
        settings = room.settings
        if settings is not None and settings.number != number:
            number = settings.number
            link.trim(settings.trims)
            if settings.cables is not None:
                engine.cable(settings.cables)
            engine.send(settings.signal)
            engine.listen(settings.tones_hz)
            engine.keep(settings.stretch)
        engine.overhear(room.listening)
        hops = engine.step()
        room.put(number, hops, engine.left)
        for one in engine.stretches():
            room.weigh(number, one, engine.rate_hz)


class Room:
    """What the engine shares with its two threads: the ear for commands, the mouth for hops."""

    def __init__(self, commands: Connection, answers: Connection) -> None:
        self._commands, self._answers = commands, answers
        self.over = threading.Event()
        self.settings: Settings | None = None
        self.listening: Listening | None = None
        self._by_force: threading.Timer | None = None
        self._waiting: queue.Queue[Message | None] = queue.Queue(QUEUED)
        self._left_out = 0
        self._ear = WatchedThread("ear", self._listen, self._died)
        self._mouth = WatchedThread("mouth", self._talk, self._died)

    def start(self) -> None:
        self._ear.start()
        self._mouth.start()

    def put(self, settings: int, hops: list[Hop], left: Left | None = None) -> None:
        """Hand on the hops of a step; if there is no room, the next ones tell of it."""
        if self._left_out and hops:
            hops = [replace(hops[0], lost=True), *hops[1:]]
        try:
            self._waiting.put_nowait(Heard(settings, tuple(hops), self._left_out, left))
            self._left_out = 0
        except queue.Full:
            self._left_out += len(hops)

    def weigh(self, settings: int, stretch: Stretch, rate_hz: float) -> None:
        """Measure a stretch while the engine steps on."""

        def run() -> None:
            found = measured(stretch.wanted, stretch.samples, rate_hz, lost=stretch.lost)
            self.tell(Weighed(settings, found))

        WatchedThread("stretch", run, self._died).start()

    def hold(self, run: Callable[[], None]) -> None:
        """Run it, tell why it failed if it does, and end the process."""
        try:
            run()
        except FluxbenchError as error:
            self.tell(Failed(str(error), again=not isinstance(error, MisuseError)))
        except Exception as error:
            reason = " ".join(f"{type(error).__name__}: {error}".split())
            self.tell(Failed(f"what sends and measures has failed ({reason})", again=True))
        self.finish()

    def tell(self, message: Message) -> None:
        self._waiting.put(message)

    def finish(self) -> None:
        """Have everything said, then end, if need be by force."""
        if self._by_force is not None:
            self._by_force.cancel()
        with suppress(queue.Full):
            self._waiting.put(None, timeout=LAST_WORD_S)
            for _ in range(round(LAST_WORD_S / LISTENS_S)):  # not by the clock: see `_listen`
                self._mouth.join(LISTENS_S)
        os._exit(0)

    def _listen(self) -> None:
        waited_s = 0.0  # for the next word; while the machine stands still nobody waits
        try:
            while waited_s < HEARTBEAT_S:
                began_s = time.monotonic()
                if not self._commands.poll(LISTENS_S):
                    waited_s += min(time.monotonic() - began_s, 2.0 * LISTENS_S)
                else:
                    message = self._commands.recv()
                    waited_s = 0.0
                    if message is None:
                        break
                    if isinstance(message, Settings):
                        self.settings = message
                    elif isinstance(message, Overhear):
                        self.listening = message.listening
        except (EOFError, OSError):
            pass  # the session is gone
        self._end()

    def _talk(self) -> None:
        try:
            while (message := self._waiting.get()) is not None:
                self._answers.send(message)
        except OSError:
            self._end()

    def _died(self, line: str) -> None:
        """A thread has died: say why, if the mouth still lives, and end."""
        with suppress(queue.Full):
            line = line.replace("; start it", "; it is started")
            self._waiting.put_nowait(Failed(line, again=True))
        self._end()

    def _end(self) -> None:
        """Ramp down; whoever cannot do that in time is silent by the end of the process."""
        if not self.over.is_set():
            self._by_force = threading.Timer(LAST_BREATH_S, self._break_off)
            self._by_force.daemon = True
            self._by_force.start()
            self.over.set()

    def _break_off(self) -> None:
        with suppress(queue.Full):
            self._waiting.put_nowait(None)
            self._mouth.join(LISTENS_S)
        os._exit(1)
