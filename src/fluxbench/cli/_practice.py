"""The practice deck beside a bench: started in a process of its own, found again after a crash."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from fluxbench.base import DeckError, FluxbenchError
from fluxbench.links import HttpControls

ALONE_S = 900.0
LOOK_S = 0.5
PATIENCE_S = 60.0
"""A deck that becomes another one answers nobody meanwhile: seconds, on a busy machine."""
READY = re.compile(r"samples at port (\d+), controls at (http://\S+:(\d+))")


@dataclass(frozen=True, slots=True)
class Running:
    """Where a practice deck is."""

    process: int
    samples_port: int
    controls: str
    controls_port: int


class PracticeProcess:
    """The practice deck that belongs to a book: the one that still runs, or a new process.

    Its trimmers and tapes are in a file beside the book; where that is there, it wins over tracks,
    speed and seed. A deck that dies is started again at the same ports. DeckError if it does not
    start.
    """

    def __init__(self, book: Path, tracks: int, speed_ips: float, seed: int) -> None:
        self._note = book.with_name(book.name + ".deck-runs")
        self._log = book.with_name(book.name + ".deck-log")
        self._options = [
            "--state", str(book.with_name(book.name + ".deck")), "--alone", f"{ALONE_S:g}",
            "--tracks", str(tracks), "--speed", f"{speed_ips:g}", "--seed", str(seed),
        ]  # fmt: skip
        self._child: subprocess.Popen[str] | None = None
        self.at = self._found() or self._started(0, 0)
        self._over = threading.Event()
        self._keeper = threading.Thread(target=self._keep, name="practice deck", daemon=True)
        self._keeper.start()

    @property
    def hands(self) -> HttpControls:
        """Its controls, patient with a deck that is busy."""
        return HttpControls(self.at.controls, PATIENCE_S)

    def end(self) -> None:
        """Have the deck keep its state and end."""
        self._over.set()
        self._keeper.join()
        with suppress(OSError):
            os.kill(self.at.process, signal.SIGTERM)
        if self._child is not None:
            with suppress(subprocess.TimeoutExpired):
                self._child.wait(5.0)
        self._note.unlink(missing_ok=True)

    def _found(self) -> Running | None:
        try:
            running = Running(**json.loads(self._note.read_text()))
            os.kill(running.process, 0)
            HttpControls(running.controls, PATIENCE_S).call("/faults")
        except (OSError, ValueError, TypeError, FluxbenchError):
            return None
        return running

    def _started(self, samples_port: int, controls_port: int) -> Running:
        ports = ["--samples-port", str(samples_port), "--port", str(controls_port)]
        with self._log.open("w") as errors:
            child = subprocess.Popen(
                [sys.executable, "-m", "fluxbench", "deck", *ports, *self._options],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
                start_new_session=True,  # Ctrl-C is for the bench
            )
        said = ""
        if child.stdout is not None:
            with child.stdout as out:
                said = out.readline()
        found = READY.search(said)
        if found is None:
            child.wait(5.0)
            lines = self._log.read_text().strip().splitlines() or ["it said nothing"]
            reason = lines[-1].removeprefix("fluxbench: ")
            raise DeckError(f"the practice deck did not start: {reason}")
        self._child = child
        running = Running(child.pid, int(found[1]), found[2], int(found[3]))
        self._note.write_text(json.dumps(asdict(running)))
        return running

    def _keep(self) -> None:
        while not self._over.wait(LOOK_S):
            if not self._is_alive():
                with suppress(DeckError, OSError, subprocess.TimeoutExpired):  # tried again soon
                    self.at = self._started(self.at.samples_port, self.at.controls_port)

    def _is_alive(self) -> bool:
        if self._child is not None:
            return self._child.poll() is None
        try:
            os.kill(self.at.process, 0)
        except OSError:
            return False
        return True
