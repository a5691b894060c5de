"""What runs in a worker: tell a content, measure a capture; whatever is wrong comes as a reason."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from multiprocessing.synchronize import Event

from fluxbench.base import CaptureError
from fluxbench.captures.catalogue._facts import Fingerprint, facts_of, fingerprint, still_is
from fluxbench.captures.catalogue._journal import Outcome

CHANGED = "changes while it is measured; try again when it is whole"


class _StoppedError(Exception):
    """The run was ended; what was begun is of no use."""


_stop: Event | None = None


def begin(stop: Event) -> None:
    """Begin a worker process: Ctrl-C is for the one who started it, and it ends with that one."""
    global _stop
    _stop = stop
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


def _go_on() -> None:
    if _stop is not None and _stop.is_set():
        raise _StoppedError


def look(path: str) -> Fingerprint | str:
    """Tell the content of a file, or say why it cannot be told."""
    try:
        return fingerprint(path, _go_on)
    except CaptureError as error:
        return _reason(path, error)


def measure(
    path: str, seen: Fingerprint, told: Callable[[float], None] = lambda share: None
) -> Outcome | None:
    """Measure a file whose content was told; None if it is no longer that content.

    `told` hears how much is done, from 0 to 1.
    """
    if not still_is(path, seen):
        return None

    def tell(share: float) -> None:
        _go_on()
        told(share)

    try:
        outcome = Outcome(facts_of(path, tell))
    except _StoppedError:
        raise
    except CaptureError as error:
        outcome = Outcome(None, _reason(path, error))
    except Exception as error:
        outcome = Outcome(None, f"measuring failed: {type(error).__name__}: {error}")
    if outcome.facts is None and look(path) != seen:
        return None  # what could not be read may have been its disk
    return outcome if still_is(path, seen) else None


def _reason(path: str, error: Exception) -> str:
    """The message without the path: another file of the same content has another."""
    return str(error).removeprefix(path).strip()
