"""A part of the bench raises, dies or hangs: that is told, nothing is sent, nothing is lost.

2 times each; with FLUXBENCH_DEATHS=50 as often as that. `failed` (or `lost`, from which the bench
comes back by itself) has to be told within a second. The planted bugs are a bench whose threads die
unseen, one that answers before it writes, and one that goes on sending.
"""

import os
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from fluxbench.session import Command, NotNowError, Session
from fluxbench.session._threads import WatchedThread
from fluxbench.session._watch import LOOK_S
from tests.benches.lateness import Lateness
from tests.benches.written_lineup import shown
from tests.faults.inline_bench import WAIT_S, begun, opened, put_wires_in, until

DEATHS = int(os.environ.get("FLUXBENCH_DEATHS", "2"))
TOLD_WITHIN_S = 1.0 if DEATHS > 2 else 2.0  # a suite may be busy
NEVER_S = 3.0
"""What has not come by then, where a bug is planted, does not come."""

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 60 * DEATHS)]


class BrokenError(Exception):
    """What a part of the bench dies of here."""


class Fault:
    """A part that works until it is told to raise, or to hang for a while."""

    def __init__(self) -> None:
        self.breaks = self.hangs = False
        self.struck_s = 0.0
        self._let_go = threading.Event()

    def strike(self, hang: bool) -> None:
        self.hangs, self.breaks = hang, not hang

    def let_go(self) -> None:
        self.hangs = False
        self._let_go.set()

    def come_by(self, *_: Any) -> None:
        """The part is at work."""
        if self.breaks or self.hangs:
            self.struck_s = self.struck_s or time.monotonic()
        if self.breaks:
            raise BrokenError("for this test")
        if self.hangs:
            self._let_go.wait(60.0)


class Display:
    """A deck's display that can be looked at."""

    def __init__(self, fault: Fault) -> None:
        self._fault = fault

    def state(self) -> dict[str, Any]:
        self._fault.come_by()
        return {"tracks": 2, "transport": "play", "tape": "stock", "position_s": 1.0}


def before(fault: Fault, call: Callable[..., Any]) -> Callable[..., Any]:
    """The call, with the fault before it."""

    def both(*given: Any) -> Any:
        fault.come_by()
        return call(*given)

    return both


def looked_at(what: str) -> Callable[[Session, Fault], None]:
    """A fault in whoever looks on, or in a part of the session; by name."""

    def put(session: Session, fault: Fault) -> None:
        if what == "events":
            session.ledger.on_event = fault.come_by
        elif what == "meters":
            session.on_meters = fault.come_by
        elif what == "sound":
            session.ears.open = True
            session.ears.on_left = fault.come_by
        elif what == "display":
            session._eye._controls = Display(fault)
        elif what == "watch":
            session._watch._thread = WatchedThread("watch", watching(fault), session._failed)
        elif what == "engine's messages":
            session._host.poll = before(fault, session._host.poll)  # type: ignore[method-assign]
        else:
            session.book.write = before(fault, session.book.write)  # type: ignore[method-assign]

    return put


def watching(fault: Fault) -> Callable[[], None]:
    """A watch that does nothing but die."""

    def look() -> None:
        while not fault.struck_s:
            time.sleep(LOOK_S)
            fault.come_by()

    return look


PARTS = ("events", "meters", "sound", "display", "watch", "engine's messages", "book")
THAT_HANG = ("events", "meters", "sound", "engine's messages", "book")


class Harness:
    """A bench that takes readings, a part of it that can be struck, and what it has answered."""

    def __init__(self, session: Session, part: str, patience_s: float) -> None:
        self.session, self.fault, self._patience_s = session, Fault(), patience_s
        looked_at(part)(session, self.fault)
        self.answered: dict[str, int] = {}

    def begin(self) -> None:
        """A line-up, until it takes readings."""
        session = self.session
        session.start()
        self.submit("begin", "begin", begun(PLAN)).result(60.0)
        until(lambda: session.state["ask"] is not None)
        self.submit("play", "acknowledge", {"ask": 1}).result(60.0)
        until(lambda: len(session.state["taken"]) > 0)

    def submit(self, key: str, name: str, fields: dict[str, Any]) -> "Future[Any]":
        told = self.session.submit(Command(key, name, fields))

        def note(done: "Future[Any]") -> None:
            if not done.cancelled() and done.exception() is None:
                self.answered[key] = done.result()["seq"]

        told.add_done_callback(note)
        return told

    def strike(self, hang: bool) -> float:
        """Strike, with commands on their way; how soon the bench tells that it is not well."""
        session, fault = self.session, self.fault
        fault.strike(hang)
        told = [self.submit(f"key-{n}", "silence", {"on": False}) for n in range(3)]
        until(lambda: fault.struck_s > 0.0)
        wanted = "lost" if hang else "failed"
        until(lambda: session.state["bench"]["engine"] == wanted, self._patience_s)
        took_s = time.monotonic() - fault.struck_s
        if not hang:
            _done, open_ = wait(told, WAIT_S)
            assert not open_, "somebody waits for an answer that never comes"
            late = self.submit("late", "silence", {"on": False})
            with pytest.raises(NotNowError, match="has failed"):
                late.result(WAIT_S)
            assert session._host.silence.is_set(), "it goes on sending"
            self.check_line(session.state["bench"]["line"])
        return took_s

    def check_line(self, line: str) -> None:
        assert "BrokenError: for this test" in line
        assert "start it again" in line
        assert "\n" not in line

    def come_back(self) -> None:
        """Once nothing hangs any more, readings go on."""
        seq = self.session.state["seq"]
        self.fault.let_go()
        until(lambda: self.session.state["bench"]["engine"] == "running")
        until(lambda: self.session.state["seq"] > seq + 3)

    def check(self, book: Path) -> None:
        """All that was answered, and all that was shown, is in the book."""
        seen = self.session.state["seq"]
        self.fault.let_go()
        self.session.close()
        with closing(sqlite3.connect(book)) as connection:
            kept = {key for (key,) in connection.execute("SELECT id FROM commands")}
            last = connection.execute("SELECT max(seq) FROM journal").fetchone()[0]
        lost = set(self.answered) - kept
        assert not lost, f"{len(lost)} commands were answered and are lost"
        assert seen <= last, "events were shown and are lost"


PLAN = shown(2)


@pytest.fixture(autouse=True)
def wires(monkeypatch: pytest.MonkeyPatch) -> None:
    put_wires_in(monkeypatch)


def struck(
    book: Path,
    part: str,
    hang: bool,
    change: Callable[[Session], None],
    patience_s: float = WAIT_S,
) -> float:
    """Strike a part of a new bench, and hold what it told against its book; seconds to the word."""
    with opened(book, change) as session:
        harness = Harness(session, part, patience_s)
        try:
            harness.begin()
            took_s = harness.strike(hang)
            if hang:
                harness.come_back()
        finally:
            harness.fault.let_go()
            session.close()
        harness.check(book)
    return took_s


def no_change(session: Session) -> None:
    """As it is made."""


@pytest.mark.parametrize("part", PARTS)
def test_a_part_that_dies_is_seen(tmp_path: Path, part: str, lateness: Lateness) -> None:
    slowest_s = max(
        struck(tmp_path / f"{n}.db", part, hang=False, change=no_change) for n in range(DEATHS)
    )
    assert slowest_s < TOLD_WITHIN_S + lateness.excused_s
    print(f"{part}: died {DEATHS} times, told after {slowest_s:.2f} s at most")


@pytest.mark.parametrize("part", THAT_HANG)
def test_a_part_that_hangs_is_told_and_the_line_up_goes_on(
    tmp_path: Path, part: str, lateness: Lateness
) -> None:
    times = max(1, DEATHS // 2)
    slowest_s = max(
        struck(tmp_path / f"{n}.db", part, hang=True, change=no_change) for n in range(times)
    )
    assert slowest_s < TOLD_WITHIN_S + lateness.excused_s
    print(f"{part}: hung {times} times, told after {slowest_s:.2f} s at most")


def unwatched(session: Session) -> None:
    """The planted bug: a thread whose death nobody is told."""
    session._thread = WatchedThread("session", session._run, lambda line: None)


def hasty(session: Session) -> None:
    """The planted bug: who commands is answered before, and whether or not, it is in the book."""
    session.ledger.answer = lambda waiting: waiting.tell({"id": "", "done": True, "seq": 0})  # type: ignore[method-assign]


def loud(session: Session) -> None:
    """The planted bug: the silence key has no effect."""
    session._host.silence.put = lambda on: None  # type: ignore[method-assign]


def blind(session: Session) -> None:
    """The planted bug: nobody sees that the session's thread hangs."""
    session._watch.start = lambda: None  # type: ignore[method-assign]


@pytest.mark.parametrize(
    ("planted", "found"),
    [
        (unwatched, "it does not come"),
        (hasty, "are lost"),
        (loud, "it goes on sending"),
        (blind, "it does not come"),
    ],
)
def test_the_harness_finds(tmp_path: Path, planted: Callable[[Session], None], found: str) -> None:
    patience_s = NEVER_S if planted in (unwatched, blind) else WAIT_S
    with pytest.raises(AssertionError, match=found):
        struck(tmp_path / "book.db", "meters", planted is blind, planted, patience_s)
