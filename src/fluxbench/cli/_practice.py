"""The practice deck beside a bench: started in a process of its own, found again after a crash."""

import json
import os
import re
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from fluxbench.base import DeckError, FluxbenchError
from fluxbench.links import HttpControls

ALONE_S = 900.0
READY = re.compile(r"samples at port (\d+), controls at (http://\S+)")


@dataclass(frozen=True, slots=True)
class Practice:
    """Where a practice deck is."""

    process: int
    samples_port: int
    controls: str


def practice_deck(beside: Path, tracks: int, speed_ips: float, seed: int) -> Practice:
    """The practice deck that belongs to a book: the one that still runs, or a new process.

    Its trimmers and tapes are in a file beside the book; where that is there, it wins.
    """
    note = beside.with_name(beside.name + ".deck-runs")
    running = _running(note)
    if running is not None:
        return running
    state = beside.with_name(beside.name + ".deck")
    log = beside.with_name(beside.name + ".deck-log")
    command = [
        sys.executable, "-m", "fluxbench", "deck", "--port", "0", "--samples-port", "0",
        "--state", str(state), "--alone", str(ALONE_S),
        "--tracks", str(tracks), "--speed", f"{speed_ips:g}", "--seed", str(seed),
    ]  # fmt: skip
    with log.open("w") as errors:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            start_new_session=True,  # Ctrl-C is for the bench
        )
    if process.stdout is None:
        raise DeckError("the practice deck cannot be heard")
    with process.stdout as said:
        found = READY.search(said.readline())
    if found is None:
        process.wait(5.0)
        lines = log.read_text().strip().splitlines() or ["it said nothing"]
        raise DeckError(f"the practice deck did not start: {lines[-1].removeprefix('fluxbench: ')}")
    practice = Practice(process.pid, int(found[1]), found[2])
    note.write_text(json.dumps(asdict(practice)))
    return practice


def end(practice: Practice) -> None:
    """Have the deck keep its state and end."""
    with suppress(OSError):
        os.kill(practice.process, signal.SIGTERM)


def _running(note: Path) -> Practice | None:
    try:
        practice = Practice(**json.loads(note.read_text()))
        HttpControls(practice.controls, timeout_s=1.0).call("/faults")
    except (OSError, ValueError, TypeError, FluxbenchError):
        return None
    return practice
