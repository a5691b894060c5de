"""One capture measured and judged in a process of its own, which gives way to everything else."""

import contextlib
import multiprocessing
import os
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from typing import Any

from fluxbench.captures.catalogue import _work
from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._journal import Outcome
from fluxbench.captures.catalogue._row import Entry, judged, object_of

DIED = "the process that measured it died; the file may be damaged"
_STEP = 0.01


class Apart:
    """A capture that is being measured; begun with this, ended by `end`."""

    def __init__(self, path: str, reel: str, declared: Declared) -> None:
        context = multiprocessing.get_context("spawn")
        self._go, self._stop = context.Event(), context.Event()
        self._go.set()
        self._told, tell = context.Pipe(duplex=False)
        self._path, self._reel = path, reel
        self._process = context.Process(
            target=_measured,
            args=(path, reel, declared, self._go, self._stop, tell),
            name="capture",
            daemon=True,
        )
        self._process.start()
        tell.close()
        self.share = 0.0

    @property
    def process_id(self) -> int:
        """Of the process that measures."""
        return self._process.pid or 0

    def hold(self, held: bool) -> None:
        """Let it wait where it is, or go on; what is known stays known."""
        (self._go.clear if held else self._go.set)()

    def result(self, wait_s: float) -> dict[str, Any] | None:
        """What was found, after `catalogue.schema.json`, or None if that is not known yet.

        `share` tells how much is done, from 0 to 1.
        """
        try:
            while self._told.poll(wait_s):
                told = self._told.recv()
                if not isinstance(told, float):
                    return dict(told)
                self.share, wait_s = told, 0.0
        except (EOFError, OSError):
            return object_of(Entry(self._path, self._reel, "", set_aside=DIED))
        return None

    def end(self) -> None:
        """End the process, whatever it is doing."""
        self._stop.set()
        self._go.set()
        self._process.terminate()
        self._process.join()
        self._process.close()
        self._told.close()


def _measured(
    path: str, reel: str, declared: Declared, go: Event, stop: Event, tell: Connection
) -> None:
    _work.begin(stop)
    with contextlib.suppress(AttributeError, OSError):
        os.nice(19)
    tell.send(object_of(_entry(path, reel, declared, _Teller(go, tell))))
    tell.close()


class _Teller:
    """Tells how much is done, a hundredth at a time, and waits while it is held."""

    def __init__(self, go: Event, tell: Connection) -> None:
        self._go, self._tell, self._last = go, tell, 0.0

    def __call__(self, share: float) -> None:
        self._go.wait()
        if share >= self._last + _STEP:
            self._last = share
            self._tell.send(float(share))


def _entry(path: str, reel: str, declared: Declared, told: Callable[[float], None]) -> Entry:
    seen = _work.look(path)
    if isinstance(seen, str):
        return Entry(path, reel, "", set_aside=seen)
    outcome = _work.measure(path, seen, told) or Outcome(None, _work.CHANGED)
    return judged(Entry(path, reel, seen.sha256), outcome, declared)
