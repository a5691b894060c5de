"""A machine that stands still for a while, as when its lid is closed: nobody is called dead for it.

All parts stand still at once. A part that alone says nothing is still found, as soon as before.
"""

import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from fluxbench.base import DeviceLostError, Flag
from fluxbench.links import PortAudioLink, _portaudio
from fluxbench.links._duplex_ring import DuplexRing
from fluxbench.session import _engine_process as process_module
from fluxbench.session import _watch as watch_module
from fluxbench.session._engine_host import EngineHost
from fluxbench.session._engine_process import Failed, Ready, Room
from fluxbench.session._watch import Watch

STOOD_S = 30.0


class Clock:
    """The machine's clock, seen by one module: it jumps when the machine has stood still."""

    def __init__(self) -> None:
        self.jumped_s = 0.0

    def monotonic(self) -> float:
        return time.monotonic() + self.jumped_s

    @staticmethod
    def sleep(seconds: float) -> None:
        time.sleep(seconds)


@pytest.fixture
def clock() -> Clock:
    return Clock()


class Pipe:
    """An end of a pipe that is silent at first, and jumps once while it is waited for."""

    def __init__(self, clock: Clock, says: list[Any], silent: int = 1) -> None:
        self._clock, self._says, self.silent = clock, says, silent
        self.polls = 0

    def poll(self, timeout_s: float) -> bool:
        self.polls += 1
        if self.polls == 1:
            self._clock.jumped_s += STOOD_S
        if self.polls <= self.silent or not self._says:
            time.sleep(min(timeout_s, 0.002))
            self._clock.jumped_s += max(timeout_s - 0.002, 0.0)
            return False
        return True

    def recv(self) -> Any:
        return self._says.pop(0)


def test_the_engine_hears_on_and_ends_when_the_session_alone_says_nothing(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(process_module, "time", clock)
    pipe = Pipe(clock, [()] * 3, silent=5)
    room = Room(cast(Any, pipe), cast(Any, None))
    monkeypatch.setattr(room, "_end", lambda: None)
    room._listen()
    # Five polls without a word, three words, and then a second of none.
    assert 5 + 3 + 10 < pipe.polls <= 5 + 3 + 21


def test_the_session_waits_on_and_finds_an_engine_that_alone_says_nothing(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fluxbench.session._engine_host.time", clock)
    host = EngineHost(lambda silence: pytest.fail("no link here"))
    ready = Ready(8000, 2, 2)
    pipe = Pipe(clock, [ready], silent=0)
    host._answers = cast(Any, pipe)
    pipe.polls = 1
    assert host.poll(0.05) == [ready]
    pipe.polls = 0
    told: list[Any] = []
    while not told:
        told = host.poll(0.05)
    assert isinstance(told[0], Failed)
    assert 10 < pipe.polls <= 21
    clock.jumped_s += STOOD_S  # the session was busy, or the machine stood still, between polls
    pipe.polls = 1
    host._answers, host._waited_s = cast(Any, pipe), 0.0
    assert host.poll(0.05) == []
    host._answers = None


def test_the_watch_is_not_alarmed_by_a_machine_that_stood_still(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[Any] = []
    ledger = SimpleNamespace(
        bench={"engine": "running", "line": None}, tell_bench=lambda **facts: told.append(facts)
    )
    watch = Watch(cast(Any, ledger), told.append)
    looks, clock = [0], Clock()

    class Over(threading.Event):
        """Between two looks the machine stands still; later the session alone does."""

        def wait(self, timeout: float | None = None) -> bool:
            looks[0] += 1
            if looks[0] < 4:
                watch.went_round()
            clock.jumped_s += STOOD_S if looks[0] == 3 else 0.1
            return looks[0] > 30 or bool(told)

    monkeypatch.setattr(watch_module, "time", clock, raising=False)
    watch._over = Over()
    watch._look()
    assert [one["engine"] for one in told] == ["lost"]
    assert 3 + 8 <= looks[0] <= 3 + 10


def link_of(ring: DuplexRing, active: Callable[[], bool]) -> PortAudioLink:
    """A link whose stream is made up."""

    class Stream:
        @property
        def active(self) -> bool:
            return active()

    link = object.__new__(PortAudioLink)
    link.interface = cast(Any, SimpleNamespace(name="deck", host_api="JACK"))
    link._inputs = link._outputs = 1
    link._open, link._ended, link._rate_hz = True, False, 8000
    link._ring, link._stream = ring, Stream()
    link._pace = cast(Any, SimpleNamespace(see=lambda *_, **__: None))
    return link


class Late(threading.Event):
    """The word that frames are there; the machine stands still while it is waited for."""

    def __init__(self, clock: Clock, come: Callable[[int], None]) -> None:
        super().__init__()
        self._clock, self._come, self.waits = clock, come, 0

    def wait(self, timeout: float | None = None) -> bool:
        self.waits += 1
        self._clock.jumped_s += STOOD_S if self.waits == 1 else timeout or 0.0
        self._come(self.waits)
        return self.is_set()


def test_an_interface_is_lost_only_when_it_alone_gives_no_frame(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_portaudio, "time", clock)
    ring = DuplexRing(1, 1, 4000, 100, threading.Event())
    link = link_of(ring, lambda: True)

    def comes(waits: int) -> None:
        if waits == 3:
            ring.period(np.zeros((64, 1), "f4"), np.zeros((64, 1), "f4"), 64, Flag.NONE)

    ring.arrived = Late(clock, comes)
    assert len(link.exchange(np.zeros((64, 1), np.float32)).samples) == 64
    dead = Late(clock, lambda _: None)
    ring.arrived = dead
    with pytest.raises(DeviceLostError, match="has given no frame for 1 s"):
        link.exchange(np.zeros((64, 1), np.float32))
    assert dead.waits == 10


def test_a_sound_server_is_not_given_up_on_leaving_because_the_machine_stood_still(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Given up once, PortAudio can be used no more in a process."""
    ring = DuplexRing(1, 1, 4000, 100, threading.Event())
    link = link_of(ring, lambda: True)
    slept = [0]

    def sleep(_: float) -> None:
        slept[0] += 1
        clock.jumped_s += STOOD_S
        if slept[0] == 2:
            ring.period(np.zeros((64, 1), "f4"), np.zeros((64, 1), "f4"), 64, Flag.NONE)

    monkeypatch.setattr(clock, "sleep", sleep)
    monkeypatch.setattr(_portaudio, "time", clock)
    assert link._periods_come()
    slept[0] = 2
    assert not link._periods_come()
    assert slept[0] <= 2 + 250
