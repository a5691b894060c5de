"""Threads of the engine's process, of a trial and of the captures die: told, and begun again.

Once each; with FLUXBENCH_DEATHS=50 as often as that. The planted bugs are an engine whose ear dies
unseen (it would go on sending for ever), a trial that dies unseen, and captures of which the first
that breaks is the last.
"""

import multiprocessing
import os
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest

from fluxbench.base import Block, Cables
from fluxbench.captures.catalogue import Declared
from fluxbench.links import SilenceKey
from fluxbench.measure import Wanted
from fluxbench.session import MeterTrial, Trials, Wish
from fluxbench.session import _engine_host as host_module
from fluxbench.session import _engine_process as process_module
from fluxbench.session._engine_host import EngineHost
from fluxbench.session._engine_process import Failed, Ready, SharedSilence, run_engine
from fluxbench.signals import Tone
from fluxbench.web._measuring import Job, Measuring
from tests.benches.lateness import Lateness
from tests.benches.made_interface import DESK, listed
from tests.faults.inline_bench import WAIT_S, opened, put_wires_in, until

DEATHS = max(1, int(os.environ.get("FLUXBENCH_DEATHS", "1")))
WITHIN_S = 1.0 if DEATHS > 1 else 2.0  # a suite may be busy
NEVER_S = 3.0
"""What has not come by then, where a bug is planted, does not come."""
RATE_HZ = 8000
PARTS = ("ear", "mouth", "stretch", "link")

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 60 * DEATHS)]

_FORK = multiprocessing.get_context("fork")  # nothing is loaded anew


class BrokenError(Exception):
    """What a thread dies of here."""


class Fault:
    """A switch that both processes see, and when the engine was heard last."""

    def __init__(self, part: str) -> None:
        self.part = part
        self._on = _FORK.RawValue("b", 0)
        self._sounded_s = _FORK.RawValue("d", 0.0)

    def strike(self) -> float:
        self._on.value = 1
        return time.monotonic()

    def come_by(self, part: str) -> None:
        if part == self.part and self._on.value:
            raise BrokenError("for this test")

    @property
    def sounded_s(self) -> float:
        return float(self._sounded_s.value)

    def hear(self, send: np.ndarray) -> None:
        if send.any():
            self._sounded_s.value = time.monotonic()


class Wires:
    """A link of wires at the pace of a sound card."""

    rate_hz, inputs, outputs = RATE_HZ, 2, 2

    def __init__(self, fault: Fault, silence: SilenceKey) -> None:
        self._fault, self._frame = fault, 0

    def exchange(self, send: np.ndarray) -> Block:
        self._fault.come_by("link")
        self._fault.hear(send)
        time.sleep(len(send) / RATE_HZ)
        first, self._frame = self._frame, self._frame + len(send)
        return Block(send.astype(np.float32), first)

    def close(self) -> None:
        pass


class Ear:
    """The engine's end of the pipe that commands come by."""

    def __init__(self, fault: Fault, pipe: Connection) -> None:
        self._fault, self._pipe = fault, pipe

    def poll(self, timeout_s: float) -> bool:
        self._fault.come_by("ear")
        return self._pipe.poll(timeout_s)

    def recv(self) -> Any:
        return self._pipe.recv()


class Mouth:
    """Its end of the pipe that answers go by."""

    def __init__(self, fault: Fault, pipe: Connection) -> None:
        self._fault, self._pipe = fault, pipe

    def send(self, message: Any) -> None:
        self._fault.come_by("mouth")
        self._pipe.send(message)


def run(
    fault: Fault, open_link: Any, commands: Connection, answers: Connection, silence: SharedSilence
) -> None:
    """The engine, with the fault in it; in its process."""

    def weigh(*given: Any, **more: Any) -> Any:
        fault.come_by("stretch")

    process_module.measured = weigh  # type: ignore[assignment]
    run_engine(open_link, Ear(fault, commands), Mouth(fault, answers), silence)  # type: ignore[arg-type]


def run_deaf(fault: Fault, *given: Any) -> None:
    """The planted bug: an engine that does not notice that its ear is dead."""
    process_module.Room._died = lambda self, line: None  # type: ignore[method-assign]
    run(fault, *given)


def death(part: str, run: Any = run, patience_s: float = WAIT_S) -> float:
    """Let it run, strike, and see that it is told, and silent; seconds until both."""
    fault = Fault(part)
    host = EngineHost(partial(Wires, fault), partial(run, fault))
    host.start()
    try:
        messages = listen(host, Ready, WAIT_S)
        assert isinstance(messages[0], Ready), f"it does not begin: {messages}"
        assert not [m for m in messages if isinstance(m, Failed)], f"it ends: {messages[-1]}"
        stretch = Wanted(1, "noise", 0.2) if part == "stretch" else None
        host.set(Tone(1000.0, -6.0), (1000.0,), stretch, Cables.straight(2))
        until(lambda: sounds(host, fault))
        struck_s = fault.strike()
        if part == "stretch":
            again = Wanted(2, "noise", 0.1)
            host.set(Tone(1000.0, -6.0), (1000.0,), again, Cables.straight(2))
        told = listen(host, Failed, patience_s)
        took_s = time.monotonic() - struck_s
        failed = next((one for one in told if isinstance(one, Failed)), None)
        assert failed is not None, "its death is not told"
        assert failed.again
        if part != "mouth":  # which cannot say why
            assert "BrokenError: for this test" in failed.line
        heard_s = fault.sounded_s
        time.sleep(0.1)
        assert fault.sounded_s == heard_s, "it goes on sending"
        return max(took_s, heard_s - struck_s)
    finally:
        host.stop()


def sounds(host: EngineHost, fault: Fault) -> bool:
    """Whether it sends by now."""
    host.beat()
    assert not [m for m in host.poll(0.02) if isinstance(m, Failed)], "it has failed by itself"
    return fault.sounded_s > 0.0


def listen(host: EngineHost, kind: type, within_s: float) -> list[Any]:
    """What it says, until it says such a thing."""
    end_s = time.monotonic() + within_s
    told: list[Any] = []
    while time.monotonic() < end_s and not any(isinstance(one, kind) for one in told):
        host.beat()
        told += host.poll(0.02)
    return told


@pytest.fixture
def forked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host_module, "_SPAWN", _FORK)


@pytest.mark.parametrize("part", PARTS)
def test_a_thread_of_the_engine_that_dies_ends_it(
    forked: None, part: str, lateness: Lateness
) -> None:
    slowest_s = max(death(part) for _ in range(DEATHS))
    assert slowest_s < WITHIN_S + lateness.excused_s, "its death is told late"


def test_the_harness_finds_an_engine_whose_thread_dies_unseen(forked: None) -> None:
    with pytest.raises(AssertionError, match="its death is not told"):
        death("ear", run_deaf, NEVER_S)


class Dead:
    """A host of a trial that dies as it is asked."""

    def start(self) -> None:
        pass

    def stop(self) -> None:
        pass

    def poll(self, timeout_s: float) -> list[Any]:
        raise BrokenError("for this test")


@pytest.fixture
def wires(monkeypatch: pytest.MonkeyPatch) -> None:
    put_wires_in(monkeypatch)


def trials_that_die(
    book: Path, change: Callable[[Trials], None] = lambda _: None, patience_s: float = WAIT_S
) -> float:
    """One after another is asked for, each is told to have ended, and the engine comes back.

    Gives back how many seconds it took to be told, at most.
    """
    slowest_s = 0.0
    with opened(book) as session:
        session._host.beside = lambda open_link, run: cast(EngineHost, Dead())  # type: ignore[method-assign]
        trials = Trials(session, listed)
        change(trials)
        session.start()
        try:
            for _ in range(DEATHS):
                until(lambda: session.state["bench"]["engine"] == "running")
                trials.begin(Wish(DESK.name, DESK.host_api), MeterTrial(-20.0, 1000.0))
                until(lambda: not (trials.state or {})["running"])
                told_s = until(lambda: bool((trials.state or {})["line"]), patience_s)
                slowest_s = max(slowest_s, told_s)
                assert "BrokenError: for this test" in (trials.state or {})["line"]
                until(lambda: session.state["bench"]["engine"] == "running")
        finally:
            session.close()
    return slowest_s


def test_a_trial_that_dies_is_told_and_the_engine_comes_back(
    wires: None, tmp_path: Path, lateness: Lateness
) -> None:
    assert trials_that_die(tmp_path / "book.db") < WITHIN_S + lateness.excused_s


def test_the_harness_finds_a_trial_that_dies_unseen(wires: None, tmp_path: Path) -> None:
    def unseen(trials: Trials) -> None:
        trials._broken = lambda line: None  # type: ignore[method-assign]

    with pytest.raises(AssertionError, match="it does not come"):
        trials_that_die(tmp_path / "book.db", unseen, NEVER_S)


class OneOnly(Measuring):
    """The planted bug: the first capture that cannot be measured is the last that is tried."""

    def _work(self) -> None:
        with suppress(BrokenError):
            while (job := self._next()) is not None:
                self._measure(job)


def captures_that_break(book: Path, of: type[Measuring], patience_s: float = WAIT_S) -> None:
    """None can be measured: each is told, with its reason, and the next one is tried."""
    begun: list[str] = []

    def begin(path: str, reel: str, declared: Declared) -> Any:
        begun.append(path)
        raise BrokenError("for this test")

    with opened(book) as session:
        measuring = of(session, begin)
        try:
            for number in range(DEATHS + 1):
                measuring.ask(Job(f"capture-{number}", f"{number}.wav", "reel", Declared()))
            until(
                lambda: [job.state for job in measuring.jobs()] == ["failed"] * (DEATHS + 1),
                patience_s,
            )
            lines = {str(job.line) for job in measuring.jobs()}
            assert lines == {"measuring failed (BrokenError: for this test); try it again"}
            assert begun == [f"{number}.wav" for number in range(DEATHS + 1)]
        finally:
            measuring.end()


def test_captures_that_cannot_be_measured_are_told_and_the_next_one_is(
    wires: None, tmp_path: Path
) -> None:
    captures_that_break(tmp_path / "book.db", Measuring)


def test_the_harness_finds_captures_of_which_one_ends_all(wires: None, tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="it does not come"):
        captures_that_break(tmp_path / "book.db", OneOnly, NEVER_S)
