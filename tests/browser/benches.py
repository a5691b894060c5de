"""A bench of its own for a test: `fluxbench serve` with a small practice deck, and its end.

A test that waits for tape does so on a quick deck (`tests/benches/quick_deck.py`), and on no other
clock than the deck's: `Running.pace` says how many seconds of tape pass in one of the wall.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import ProxyHandler, Request, build_opener

from fluxbench.links import HttpControls

ROOT = Path(__file__).parents[2]
ANSWERS_WITHIN_S = 60.0
ENDS_WITHIN_S = 60.0
"""For a machine that is busy with other things."""
READY = re.compile(r"samples at port (\d+), controls at (http://\S+:(\d+))")
PASSED_FIRST = "try { localStorage.setItem('fluxbench.first told', 'true') } catch {}"
"""For a page of somebody who has passed the first hour."""


@dataclass(frozen=True, slots=True)
class Running:
    """A bench that answers."""

    address: str
    book: Path
    process: "subprocess.Popen[str]"
    pace: float = 1.0

    @property
    def deck(self) -> dict[str, Any]:
        """Where its practice deck is."""
        return dict(json.loads(self.book.with_name(self.book.name + ".deck-runs").read_text()))

    def truth(self) -> dict[str, Any]:
        """What no bench may know: for judging what was done."""
        return dict(json.loads(answer_of(self.deck["controls"] + "/truth")[1]))

    @property
    def hands(self) -> HttpControls:
        """The controls of its practice deck, patient with a deck that is busy."""
        return HttpControls(self.deck["controls"], ANSWERS_WITHIN_S)

    def get(self, path: str) -> Any:
        """What the bench answers, apart from the page."""
        status, content = answer_of(self.address + path)
        assert status == 200, content
        return json.loads(content)

    def post(self, path: str, body: dict[str, Any]) -> tuple[int, Any]:
        """The same with something to be done."""
        status, content = answer_of(self.address + path, json.dumps(body).encode())
        return status, json.loads(content)


def answer_of(url: str, body: bytes | None = None) -> tuple[int, bytes]:
    """Status and content, over a connection that nobody else uses."""
    request = Request(url, body, {} if body is None else {"Content-Type": "application/json"})
    try:
        with build_opener(ProxyHandler({})).open(request, timeout=ANSWERS_WITHIN_S) as answer:
            return int(answer.status), bytes(answer.read())
    except HTTPError as error:
        with error:
            return error.code, error.read()


@contextmanager
def quick_deck(book: Path, tracks: int, pace: float, seed: int) -> Iterator[None]:
    """The practice deck of a book on a quick clock, where the book's bench finds it running."""
    deck = subprocess.Popen(
        [sys.executable, "-m", "tests.benches.quick_deck", "--samples-port", "0", "--port", "0",
         "--state", str(book.with_name(book.name + ".deck")), "--tracks", str(tracks),
         "--seed", str(seed)],
        cwd=ROOT, env={**os.environ, "FLUXBENCH_TEST_PACE": str(pace)}, stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert deck.stdout is not None
    try:
        with deck.stdout as said:
            found = READY.search(said.readline())
        assert found, "the deck did not start"
        note = {"process": deck.pid, "samples_port": int(found[1]), "controls": found[2],
                "controls_port": int(found[3])}  # fmt: skip
        book.with_name(book.name + ".deck-runs").write_text(json.dumps(note))
        yield
    finally:
        end(deck.pid)
        deck.wait(ENDS_WITHIN_S)


@contextmanager
def serving(book: Path, tracks: int = 2, pace: float = 1.0, seed: int = 1) -> Iterator[Running]:
    """A bench on a free port; it and its deck have ended afterwards. The seed is a quick deck's."""
    with ExitStack() as stack:
        if pace != 1.0:
            stack.enter_context(quick_deck(book, tracks, pace, seed))
        yield stack.enter_context(_serving(book, tracks, pace))


@contextmanager
def _serving(book: Path, tracks: int, pace: float) -> Iterator[Running]:
    command = [sys.executable, "-m", "fluxbench", "serve", "--no-browser", "--port", "0"]
    process = subprocess.Popen(
        [*command, "--tracks", str(tracks), "--book", str(book)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    try:
        with process.stdout as said:
            found = re.search(r"http://\S+", said.readline())
            assert found, "the bench did not start"
            yield Running(found[0], book, process, pace)
    finally:
        end(process.pid)
        process.wait(ENDS_WITHIN_S)
        process.stdout.close()
        note = book.with_name(book.name + ".deck-runs")
        if note.exists():
            end(int(json.loads(note.read_text())["process"]))


def end(process: int) -> None:
    """Ask a process to end and wait until it has, or is no child of ours."""
    try:
        os.kill(process, signal.SIGTERM)
        for _ in range(100):
            os.kill(process, 0)
            if os.waitpid(process, os.WNOHANG)[0]:
                return
            time.sleep(0.05)
    except (ProcessLookupError, ChildProcessError):
        return
