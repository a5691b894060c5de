"""Ways to measure that go wrong; in a module of its own, since workers import it."""

import os
import signal
from pathlib import Path

from fluxbench.captures.catalogue._facts import Fingerprint
from fluxbench.captures.catalogue._journal import Outcome
from fluxbench.captures.catalogue._work import measure


def dying_of_some(path: str, seen: Fingerprint) -> Outcome | None:
    """A process that is killed by every file with `crash` in its name; others are counted."""
    if "crash" in path:
        os.kill(os.getpid(), signal.SIGKILL)
    return counted(path, seen)


def counted(path: str, seen: Fingerprint) -> Outcome | None:
    """Measure, and leave a line for it beside the captures."""
    outcome = measure(path, seen)
    with (Path(path).parent / "measured.log").open("a") as log:
        log.write(f"{Path(path).name}\n")
    return outcome


def changing(path: str, seen: Fingerprint) -> Outcome | None:
    """The file grows while it is measured, each time."""
    with open(path, "ab") as file:
        file.write(b"\0")
    return measure(path, seen)
