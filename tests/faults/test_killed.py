"""Kill -9 of session, engine and deck while readings are taken: nothing shown is ever lost.

10 kills; with FLUXBENCH_KILLS=200 as many as that.
"""

import json
import os
import queue
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from fluxbench.session._engine_process import HEARTBEAT_S, LAST_BREATH_S
from tests.benches.lateness import Lateness
from tests.faults.wire import Wire

pytestmark = [pytest.mark.alone, pytest.mark.timeout(900)]

HERE = Path(__file__).parent
KILLS = int(os.environ.get("FLUXBENCH_KILLS", "10"))
SILENT_WITHIN_S = 1.0
QUIET_S = 0.35
"""Without a sound for so long it has fallen silent; sooner than another engine starts."""
WAIT_S = 240.0  # for a machine that is busy with other things


class Process:
    """A child that prints lines, and what it has printed."""

    def __init__(self, *command: str) -> None:
        self.lines: queue.Queue[str] = queue.Queue()
        self.child = subprocess.Popen(
            [sys.executable, *command], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def kill(self) -> None:
        self.child.kill()
        self.end()

    def end(self) -> None:
        """Take what it said last, too."""
        if self.child.stdin is not None:
            self.child.stdin.close()
        self.child.wait(WAIT_S)
        self._reader.join()
        if self.child.stdout is not None:
            self.child.stdout.close()

    def _read(self) -> None:
        for line in self.child.stdout or ():
            self.lines.put(line)


class Harness:
    """A deck, a wire, a bench, and an account of all that the bench has shown."""

    def __init__(self, folder: Path, planted: bool) -> None:
        self.book = folder / "book.db"
        self.shown: dict[int, Any] = {}
        self.begun: list[int] = []
        self.taken_up = self.resumed = 0
        self.recent: list[str] = []
        self._state = folder / "deck"
        self._options = ["--planted"] if planted else []
        self.deck = self._start_deck(0)
        self.wire = Wire(self.deck_port, 1)
        self.bench = self._start_bench()

    def close(self) -> None:
        self.bench.kill()
        self.deck.kill()
        self.wire.close()

    def _start_deck(self, port: int) -> Process:
        deck = Process(
            "-m", "fluxbench", "deck", "--tracks", "1", "--speed", "30",
            "--port", "0", "--samples-port", str(port), "--state", str(self._state),
        )  # fmt: skip
        found = re.search(r"samples at port (\d+)", deck.lines.get(timeout=WAIT_S))
        assert found is not None
        self.deck_port = int(found[1])
        return deck

    def _start_bench(self) -> Process:
        script = str(HERE / "bench_process.py")
        return Process(script, str(self.book), str(self.wire.port), *self._options)

    def take_lines(self) -> None:
        while not self.bench.lines.empty():
            line = self.bench.lines.get()
            self.recent.append(line)
            message = json.loads(line)
            if "taken up" in message:
                self.taken_up += 1
            elif "begun" in message:
                self.begun.append(message["begun"])
            elif message.get("what") == "taken":
                self.shown[message["facts"]["number"]] = message["facts"]["reading_db"]
            elif message.get("what") == "resumed":
                self.resumed += 1

    def wait_for(self, more: int) -> None:
        """Until so many more readings have been shown."""
        wanted, end_s = len(self.shown) + more, time.monotonic() + WAIT_S
        while len(self.shown) < wanted:
            self.take_lines()
            assert time.monotonic() < end_s, f"no readings come: {self.recent[-12:]}"
            assert self.bench.child.poll() is None, "the bench has ended"
            time.sleep(0.01)

    def engine(self) -> int | None:
        """The number of the engine's process, None while there is none."""
        stdin = self.bench.child.stdin
        assert stdin is not None
        stdin.write("\n")
        stdin.flush()
        held: list[str] = []
        while True:
            line = self.bench.lines.get(timeout=WAIT_S)
            if "engine process" in line:
                break
            held.append(line)
        for other in held:  # in order, before what follows
            self._take(other)
        told: int | None = json.loads(line)["engine process"]
        return told

    def _take(self, line: str) -> None:
        rest = list(self.bench.lines.queue)
        with self.bench.lines.mutex:
            self.bench.lines.queue.clear()
        for one in (line, *rest):
            self.bench.lines.put(one)
        self.take_lines()

    def kill(self, what: str) -> float:
        """Kill it, and give back after how many seconds nothing was sent any more."""
        killed_s, resumed = time.monotonic(), self.resumed
        if what == "session":
            self.bench.kill()
        elif what == "engine":
            killed_s = self._kill_engine()
        else:
            self.deck.kill()
        silent_after_s = self.silent_after(killed_s, QUIET_S)
        self.take_lines()
        if what == "deck":
            self.deck = self._start_deck(self.deck_port)
        elif what == "session":
            self.check()
            self.bench = self._start_bench()
        while self.resumed == resumed:  # what was said before comes first
            self.wait_for(1)
        return silent_after_s

    def _kill_engine(self) -> float:
        """When it was killed; one that was just ending by itself is not meant."""
        while True:
            engine = self.engine()
            with suppress(ProcessLookupError):
                if engine is not None:
                    os.kill(engine, signal.SIGKILL)
                    return time.monotonic()
            time.sleep(0.1)

    def silent_after(self, since_s: float, quiet_s: float) -> float:
        """Wait until nothing was sent for a while; how long after that moment it was last."""
        end_s = time.monotonic() + WAIT_S
        while self.wire.silent_for_s < quiet_s:
            assert time.monotonic() < end_s, "it goes on sending"
            time.sleep(0.01)
        return self.wire.sounded_s - since_s

    def check(self) -> None:
        """All that was shown is in the book; no number is missing, none is there twice."""
        self.take_lines()
        connection = sqlite3.connect(self.book)
        try:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            rows = connection.execute("SELECT facts FROM journal WHERE what = 'taken' ORDER BY seq")
            written = [json.loads(row[0]) for row in rows]
            steps = connection.execute("SELECT count(*) FROM steps").fetchone()[0]
        finally:
            connection.close()
        numbers = [facts["number"] for facts in written]
        readings = {facts["number"]: facts["reading_db"] for facts in written}
        lost = [n for n, reading in self.shown.items() if readings.get(n) != reading]
        assert lost == [], f"{len(lost)} readings were shown and are not in the book"
        assert numbers == list(range(len(numbers)))
        assert steps == len(numbers)


@pytest.fixture
def harness(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Harness]:
    made = Harness(tmp_path, planted=getattr(request, "param", False))
    try:
        yield made
    finally:
        made.close()


@pytest.mark.timeout(600 + 30 * KILLS)
def test_nothing_that_was_shown_is_lost(harness: Harness, lateness: Lateness) -> None:
    """And each kill has at most one step repeated, and silence within a second."""
    chance = random.Random(7)
    kinds = [("session", "engine", "session", "engine", "deck")[i % 5] for i in range(KILLS)]
    slowest_s = 0.0
    for kind in kinds:
        harness.wait_for(3)
        time.sleep(chance.uniform(0.0, 0.3))
        slowest_s = max(slowest_s, harness.kill(kind))
    harness.wait_for(3)
    harness.bench.kill()
    harness.check()
    assert slowest_s < SILENT_WITHIN_S + lateness.excused_s
    # A line-up that is taken up tells so by "resumed" after that is in the book, which a kill can
    # come before; the procedure itself tells of it first.
    repeated = len(harness.begun) - len(set(harness.begun))
    again = harness.taken_up - 1
    assert repeated <= again
    assert KILLS <= harness.resumed <= again
    print(f"{KILLS} kills, {len(harness.shown)} readings, {again} times taken up again, "
          f"{repeated} steps repeated, silent after {slowest_s:.2f} s at most")  # fmt: skip


def test_when_the_session_hangs_the_engine_falls_silent(
    harness: Harness, lateness: Lateness
) -> None:
    """As on a laptop that is put to sleep; afterwards the line-up goes on."""
    harness.wait_for(3)
    stopped_s = time.monotonic()
    os.kill(harness.bench.child.pid, signal.SIGSTOP)
    silent_after_s = harness.silent_after(stopped_s, HEARTBEAT_S + 1.0)
    os.kill(harness.bench.child.pid, signal.SIGCONT)
    while harness.resumed == 0:  # what the engine had said before its end comes first
        harness.wait_for(1)
    harness.wait_for(3)
    assert silent_after_s < HEARTBEAT_S + LAST_BREATH_S + 0.3 + lateness.excused_s
    harness.bench.kill()
    harness.check()


@pytest.mark.parametrize("harness", [True], indirect=True)
def test_the_harness_finds_a_bench_that_shows_before_it_writes(harness: Harness) -> None:
    with pytest.raises(AssertionError, match="were shown and are not in the book"):
        kill_again_and_again(harness)


def kill_again_and_again(harness: Harness) -> None:
    """Once or twice there may be nothing that waits to be written."""
    for _ in range(10):
        harness.wait_for(3)
        harness.kill("session")
