"""Pages read anew, restarts of the bench, double clicks, answers that never arrive: all told once.

20 rounds; with FLUXBENCH_ROUNDS=200 as many as that. The planted bugs are a bench that forgets
which commands it has carried out, one that carries out both clicks of two, and one that leaves out
an event.
"""

import json
import os
import random
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from fluxbench.session import Command, Session
from tests.benches.lateness import Lateness
from tests.benches.written_lineup import shown
from tests.faults.inline_bench import (
    WAIT_S,
    AskingAgain,
    begun,
    client_of,
    opened,
    put_wires_in,
)

ROUNDS = int(os.environ.get("FLUXBENCH_ROUNDS", "20"))
BACK_WITHIN_S = 2.0 if ROUNDS > 20 else 5.0  # a suite may be busy
KINDS = ("reload", "restart", "double click", "unanswered", "double answer", "thing")

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 10 * ROUNDS)]


class Harness:
    """A bench, a browser in front of it, and an account of all that was clicked and told."""

    def __init__(self, book: Path, plan: dict[str, Any], change: Callable[[Session], None]) -> None:
        self.book, self._plan, self._change = book, plan, change
        self.events: list[dict[str, Any]] = []
        self.clicked: list[str] = []
        self.things: list[str] = []
        self.slowest_s = 0.0
        self._open = ExitStack()
        self._start()
        self.call("begin", "begin", **begun(plan))
        self.next_ask()

    def _start(self) -> None:
        self.session = self._open.enter_context(opened(self.book, self._change))
        obey, self._commanding = self.session._obey, threading.Lock()

        def obey_alone() -> None:
            with self._commanding:
                obey()

        self.session._obey = obey_alone  # type: ignore[method-assign]
        self.client: TestClient = self._open.enter_context(client_of(self.session))

    def close(self) -> None:
        self._open.close()

    # -- what a browser does -----------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        return dict(self.client.get("/api/state").json())

    def call(self, key: str, name: str, **fields: Any) -> None:
        told = self.client.post("/api/commands", json={"id": key, "command": name, **fields})
        assert told.status_code == 200, f"{name} was refused: {told.json()}"

    def read_on(self) -> None:
        """All events since the last one that is known, as a page does that comes back."""
        while True:
            since = self.events[-1]["seq"] if self.events else 0
            page = self.client.get(f"/api/events?since={since}").json()
            self.events += page["events"]
            if not page["events"]:
                return

    def answer_asks(self) -> None:
        """Until an ask is open, then answer it, and again when its answer is lost on the way."""
        ask = self.next_ask()
        for _ in range(2):
            self.call(f"ask-{ask}", "acknowledge", ask=ask)

    def next_ask(self) -> int:
        end_s = time.monotonic() + WAIT_S
        while (ask := self.state()["ask"]) is None:
            assert time.monotonic() < end_s, "nothing is asked"
            time.sleep(0.002)
        return int(ask["number"])

    # -- what goes wrong ---------------------------------------------------------------------

    def round(self, kind: str, chance: random.Random) -> None:
        key = f"{kind.replace(' ', '-')}-{len(self.clicked)}"
        on = chance.random() < 0.5
        if kind == "double click":
            self.twice(lambda: self.session.submit(Command(key, "silence", {"on": on})))
            self.clicked.append(key)
            self.call(key, "silence", on=on)
        elif kind == "unanswered":
            self.session.submit(Command(key, "silence", {"on": on})).cancel()
            self.clicked.append(key)
            self.call(key, "silence", on=on)
        elif kind == "double answer":
            ask = self.next_ask()
            self.call_twice_at_once(f"ask-{ask}", ask)
        elif kind == "thing":
            self.add_twice_at_once(f"thing-{len(self.things)}")
        else:
            self.come_back(kind)
        if self.clicked and chance.random() < 0.3:
            self.call(chance.choice(self.clicked), "silence", on=on)  # a retry that comes very late

    def call_twice_at_once(self, key: str, ask: int) -> None:
        self.twice(lambda: self.session.submit(Command(key, "acknowledge", {"ask": ask})))

    def twice(self, submit: Callable[[], "Future[Any]"]) -> None:
        """A double click: the second comes before the first is carried out."""
        with self._commanding:
            first, second = submit(), submit()
        assert first.result(WAIT_S)["done"] is True
        assert second.result(WAIT_S)["done"] is True

    def add_twice_at_once(self, key: str) -> None:
        body = {"id": key, "facts": {"name": key}}
        answers: list[Any] = []
        calls = [
            threading.Thread(
                target=lambda: answers.append(self.client.post("/api/book/reels", json=body))
            )
            for _ in range(2)
        ]
        for each in calls:
            each.start()
        for each in calls:
            each.join()
        assert [answer.status_code for answer in answers] == [200, 200]
        self.things.append(key)

    def come_back(self, kind: str) -> None:
        before = self.state()
        began_s = time.monotonic()
        if kind == "restart":
            self._open.close()
            self._start()
        after = self.state()
        self.read_on()
        self.slowest_s = max(self.slowest_s, time.monotonic() - began_s)
        assert after["seq"] >= before["seq"], "what was shown is gone"
        assert after["lineup"]["id"] == before["lineup"]["id"]
        stage = [s["name"] for s in after["stages"] if s["status"] == "now"]
        assert stage == ["reproduce"]
        if before["ask"] is not None:
            assert after["ask"] == before["ask"], "another ask stands there"
        for old, new in zip(before["taken"], after["taken"], strict=True):
            assert new["seq"] >= old["seq"], "the last reading is not back"
            if new["seq"] == old["seq"]:
                assert new == old

    def check(self) -> None:
        """All was applied once, and a page that read on has all events, each once."""
        self.read_on()
        self.close()
        with closing(sqlite3.connect(self.book)) as connection:
            rows = connection.execute("SELECT seq, what, facts FROM journal ORDER BY seq")
            journal = [(seq, what, json.loads(facts)) for seq, what, facts in rows]
            things = Counter(i for (i,) in connection.execute("SELECT id FROM things"))
            kept = connection.execute("SELECT count(*) FROM lineups").fetchone()[0]
        told = [event["seq"] for event in self.events]
        assert told == [seq for seq, _, _ in journal][: len(told)], "events are missing"
        said = Counter(what for _, what, _ in journal)
        answered = Counter(facts["ask"] for _, what, facts in journal if what == "answered")
        numbers = [facts["number"] for _, what, facts in journal if what == "taken"]
        assert (kept, said["begun"]) == (1, 1), "the line-up was begun more than once"
        assert said["silence"] == len(self.clicked), "a key was pressed once and counted otherwise"
        assert set(answered.values()) <= {1}, "an ask was answered more than once"
        assert things == dict.fromkeys(self.things, 1), "a thing was added more than once"
        asked = sum(what == "ask" for _, what, _ in journal)
        assert asked - len(answered) in (0, 1), "an answer is lost"
        assert numbers == sorted(set(numbers)), "a reading stands there twice"


def run(harness: Harness, rounds: int) -> None:
    chance = random.Random(13)
    for number in range(rounds):
        harness.round(KINDS[number % len(KINDS)], chance)
        harness.answer_asks()
    harness.check()


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Harness]]:
    put_wires_in(monkeypatch, AskingAgain)
    made: list[Harness] = []

    def one(change: Callable[[Session], None] = lambda _: None) -> Harness:
        made.append(Harness(tmp_path / "book.db", shown(2), change))
        return made[-1]

    yield one
    for harness in made:
        harness.close()


def test_all_is_carried_out_once_and_told_once(
    make: Callable[..., Harness], lateness: Lateness
) -> None:
    harness = make()
    run(harness, ROUNDS)
    assert harness.slowest_s < BACK_WITHIN_S + lateness.excused_s
    print(f"{ROUNDS} rounds, {len(harness.events)} events, none missing and none twice, back "
          f"after {harness.slowest_s:.2f} s at most")  # fmt: skip


def forgetful(session: Session) -> None:
    """The planted bug: it does not know what it has carried out."""
    session.ledger.known = lambda command: None  # type: ignore[method-assign]


def careless(session: Session) -> None:
    """The planted bug: the second click of two is another command."""
    session.ledger.joins = lambda waiting: False  # type: ignore[method-assign]


def leaving_out(session: Session) -> None:
    """The planted bug: the newest event of a page is not told."""
    whole = session.book.own_entries
    session.book.own_entries = lambda *a: whole(*a)[:-2] + whole(*a)[-1:]  # type: ignore[method-assign]


@pytest.mark.parametrize(
    ("planted", "found"),
    [
        (forgetful, "more than once|counted otherwise|was refused"),
        (careless, "counted otherwise"),
        (leaving_out, "are missing"),
    ],
)
def test_the_harness_finds(
    make: Callable[..., Harness], planted: Callable[[Session], None], found: str
) -> None:
    harness = make(planted)
    with pytest.raises(AssertionError, match=found):
        run(harness, len(KINDS))
