"""Sees whether the session's thread goes round, and says so while it does not."""

import threading
from collections.abc import Callable

from fluxbench.session._ledger import Ledger
from fluxbench.session._threads import WatchedThread

HANGS_S = 0.8
"""Sooner than the engine falls silent for want of a word from the session."""
LOOK_S = 0.1
LOOKS = round(HANGS_S / LOOK_S)
"""Counted, not timed: while the whole machine stands still its thread does not hang."""
LINE = "the bench hangs, on its disk perhaps; nothing is sent or taken until it goes on"


class Watch:
    """Tells that the bench is lost while its thread hangs: in a slow disk, or in who looks on."""

    def __init__(self, ledger: Ledger, died: Callable[[str], None]) -> None:
        self._ledger = ledger
        self._rounds = 0
        self._hangs = False
        self._over = threading.Event()
        self._thread = WatchedThread("watch", self._look, died)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def close(self) -> None:
        """Look no more."""
        self._over.set()
        self._thread.join(1.0)

    def went_round(self) -> None:
        """The session's thread goes on; whether the engine lives it will see by itself."""
        self._rounds += 1
        if self._hangs:
            self._hangs = False
            if self._ledger.bench["line"] == LINE:  # nothing else has been told meanwhile
                self._ledger.tell_bench(engine="running", line=None)

    def _look(self) -> None:
        rounds, looks = self._rounds, 0
        while not self._over.wait(LOOK_S):
            looks = looks + 1 if rounds == self._rounds else 0
            rounds = self._rounds
            if looks > LOOKS and not self._hangs and self._ledger.bench["engine"] == "running":
                self._hangs = True
                self._ledger.tell_bench(engine="lost", line=LINE)
