"""The interface goes, in every way, while levels are taken: it is told, nothing wrong is taken.

Frames stop coming, the stream breaks off (and is refused for a while, as by another program that
holds it), it runs on with zeros, it loses frames and says so, the whole machine sleeps. Five times
each; with FLUXBENCH_GONE=50 as often as that. The wire has a loss of 1 dB: every level that is
taken has to be the level sent less that, whatever happened.
"""

import json
import os
import queue
import random
import signal
import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.benches.lateness import Lateness
from tests.faults.levels_bench import TONE_DB
from tests.faults.made_deck import LOSS_DB, MadeDeck
from tests.faults.test_killed import WAIT_S, Process

GONE = int(os.environ.get("FLUXBENCH_GONE", "5"))
TOLD_WITHIN_S = 1.5
"""A second without a frame, and what a busy machine takes to say so."""
ANSWERS_WITHIN_S = 0.2
RIGHT_DB = 0.05
SLEPT_S = 10.0 if GONE > 5 else 2.0

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 60 * GONE)]

Facts = dict[str, Any]


class Harness:
    """A made deck, a bench on it, what the bench has said, and somebody who does what it asks."""

    def __init__(self, folder: Path, seed: int, planted: bool = False) -> None:
        self._patience_s = 2.0 * TOLD_WITHIN_S if planted else WAIT_S
        self.taken: list[float] = []
        self.bench_facts: Facts = {}
        self.answers_s: list[float] = []
        self._asked: float | None = None
        self.engine: int | None = None
        self._chance = random.Random(seed)
        self.deck = MadeDeck(seed)
        options = ["--planted"] if planted else []
        module = ("-m", "tests.faults.levels_bench")
        book = str(folder / f"book-{seed}.db")
        self.process = Process(*module, book, str(self.deck.port), *options)

    def close(self) -> None:
        self.process.kill()
        self.deck.close()

    def _take(self, line: str) -> None:
        message = json.loads(line)
        if "engine process" in message:
            self.engine = message["engine process"]
            if self._asked is not None:
                self.answers_s.append(time.monotonic() - self._asked)
            self._asked = None
        elif message["what"] == "taken":
            self.taken.append(message["facts"]["reading_db"])
        elif message["what"] == "ask":
            self._say(str(message["facts"]["number"]))
        elif message["what"] == "bench":
            self.bench_facts = message["set"]["bench"]

    def _say(self, line: str) -> None:
        assert self.process.child.stdin is not None
        self.process.child.stdin.write(line + "\n")
        self.process.child.stdin.flush()

    def until(self, there: Callable[[], bool], within_s: float, lacking: str) -> float:
        """Wait until it is so, and give back how long that took."""
        began_s = time.monotonic()
        while not there():
            with suppress(queue.Empty):
                self._take(self.process.lines.get(timeout=0.02))
            assert time.monotonic() - began_s < within_s, f"{lacking}: {self.bench_facts}"
            assert self.process.child.poll() is None, "the bench has ended"
        return time.monotonic() - began_s

    def more_levels(self, count: int) -> None:
        wanted = len(self.taken) + count
        self.until(lambda: len(self.taken) >= wanted, WAIT_S, "no levels come")

    def ask_how_it_is(self) -> None:
        self._asked = time.monotonic()
        self._say("")
        self.until(lambda: self._asked is None, WAIT_S, "it answers nobody")

    def suffer(self, fault: str) -> float:
        """Have it happen at some moment; how long it took until somebody was told."""
        self.more_levels(1)
        time.sleep(self._chance.uniform(0.0, 0.5))
        gaps = int(self.bench_facts["gaps"])

        def gone() -> bool:
            return self.bench_facts["engine"] in ("lost", "starting")

        def lost() -> bool:
            return int(self.bench_facts["gaps"]) > gaps

        told = {
            "zeros": lambda: bool(self.bench_facts["only_zeros"]),
            "loses": lost,
            "sleeps": lambda: gone() or lost(),
        }.get(fault, gone)
        if fault == "sleeps":
            self._sleep()
            return self.until(told, self._patience_s, "nobody told")
        self.deck.fault = fault
        try:
            took_s = self.until(told, self._patience_s, "nobody told")
            self.ask_how_it_is()
        finally:
            self.deck.fault = None
        return took_s

    def _sleep(self) -> None:
        """All of the bench stands still, as on a laptop whose lid is closed."""
        self.ask_how_it_is()
        all_of_it = [self.process.child.pid, *([] if self.engine is None else [self.engine])]
        for how, pause_s in ((signal.SIGSTOP, SLEPT_S), (signal.SIGCONT, 0.0)):
            for process in all_of_it:
                with suppress(ProcessLookupError):  # an engine that was just ending
                    os.kill(process, how)
            time.sleep(pause_s)

    def is_well(self) -> bool:
        """Whether it runs, and hears something."""
        facts = self.bench_facts
        return facts["engine"] == "running" and not facts["only_zeros"]

    def check(self, lateness: Lateness) -> None:
        """Nothing is wrong that was taken; the bench is well again, and has always answered."""
        self.until(self.is_well, WAIT_S, "it is not well again")
        wrong = [one for one in self.taken if not abs(one - TONE_DB + LOSS_DB) < RIGHT_DB]
        assert wrong == [], f"{len(wrong)} of {len(self.taken)} levels are wrong"
        assert statistics.median(self.answers_s) < ANSWERS_WITHIN_S + lateness.excused_s


def go_through(folder: Path, lateness: Lateness, fault: str, planted: bool = False) -> float:
    """One fault again and again on a bench of its own; the longest time until it was told."""
    harness = Harness(folder, FAULTS.index(fault), planted)
    try:
        took_s = [harness.suffer(fault) for _ in range(GONE)]
        harness.more_levels(2)
        harness.check(lateness)
    finally:
        harness.close()
    return max(took_s)


FAULTS = ("stands still", "hangs up", "sleeps", "zeros", "loses")
AT_ONCE = 3
"""Benches side by side: most of it is waiting."""


def test_it_is_told_and_the_line_up_goes_on(tmp_path: Path, lateness: Lateness) -> None:
    with ThreadPoolExecutor(AT_ONCE) as pool:
        told_s = list(pool.map(partial(go_through, tmp_path, lateness), FAULTS))
    assert max(told_s) < TOLD_WITHIN_S + lateness.excused_s
    print(f"each {GONE} times, told within:",
          *(f"{name} {s:.2f} s" for name, s in zip(FAULTS, told_s, strict=True)))  # fmt: skip


@pytest.mark.parametrize(
    ("fault", "found"), [("stands still", "nobody told"), ("loses", "nobody told|are wrong")]
)
def test_the_harness_finds_a_link_that_makes_it_up(
    tmp_path: Path, lateness: Lateness, fault: str, found: str
) -> None:
    with pytest.raises(AssertionError, match=found):
        go_through(tmp_path, lateness, fault, planted=True)
