"""A bench of its own for a test: `fluxbench serve` with a small practice deck, and its end."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.request import urlopen

PASSED_FIRST = "try { localStorage.setItem('fluxbench.first told', 'true') } catch {}"
"""For a page of somebody who has passed the first hour."""


@dataclass(frozen=True, slots=True)
class Running:
    """A bench that answers."""

    address: str
    book: Path
    process: "subprocess.Popen[str]"

    @property
    def deck(self) -> dict[str, Any]:
        """Where its practice deck is."""
        return dict(json.loads(self.book.with_name(self.book.name + ".deck-runs").read_text()))

    def truth(self) -> dict[str, Any]:
        """What no bench may know: for judging what was done."""
        with urlopen(self.deck["controls"] + "/truth", timeout=10) as answer:
            return dict(json.load(answer))


@contextmanager
def serving(book: Path, tracks: int = 2) -> Iterator[Running]:
    """A bench on a free port; it and its deck have ended afterwards."""
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
            yield Running(found[0], book, process)
    finally:
        end(process.pid)
        process.wait(20.0)
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
