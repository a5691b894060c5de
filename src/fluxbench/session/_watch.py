"""Sees whether the session's thread goes round, and says so while it does not."""

import threading
import time
from collections.abc import Callable

from fluxbench.session._ledger import Ledger
from fluxbench.session._threads import WatchedThread

HANGS_S = 0.8
"""Sooner than the engine falls silent for want of a word from the session."""
LOOK_S = 0.1
LINE = "the bench hangs, on its disk perhaps; nothing is sent or taken until it goes on"


class Watch:
    """Tells that the bench is lost while its thread hangs: in a slow disk, or in who looks on."""

    def __init__(self, ledger: Ledger, died: Callable[[str], None]) -> None:
        self._ledger = ledger
        self._round_s = time.monotonic()
        self._hangs = False
        self._over = threading.Event()
        self._thread = WatchedThread("watch", self._look, died)

    def start(self) -> None:
        """Begin to look."""
        self._round_s = time.monotonic()
        self._thread.start()

    def close(self) -> None:
        """Look no more."""
        self._over.set()
        self._thread.join(1.0)

    def went_round(self) -> None:
        """The session's thread goes on; whether the engine lives it will see by itself."""
        self._round_s = time.monotonic()
        if self._hangs:
            self._hangs = False
            if self._ledger.bench["line"] == LINE:  # nothing else has been told meanwhile
                self._ledger.tell_bench(engine="running", line=None)

    def _look(self) -> None:
        while not self._over.wait(LOOK_S):
            late = time.monotonic() - self._round_s > HANGS_S
            if late and not self._hangs and self._ledger.bench["engine"] == "running":
                self._hangs = True
                self._ledger.tell_bench(engine="lost", line=LINE)
