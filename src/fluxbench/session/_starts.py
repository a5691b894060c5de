"""When the engine is started: at first, again after it was lost, never while it rests."""

import time

from fluxbench.session._commands import NotNowError
from fluxbench.session._engine_host import EngineHost
from fluxbench.session._ledger import Ledger

AGAIN_S = (0.2, 0.5, 1.0, 2.0, 5.0)
"""How long to wait before the engine is started again, first time, second time and so on."""


class Starts:
    """Starts an engine and tells how it stands with it; all methods are for one thread."""

    def __init__(self, host: EngineHost, ledger: Ledger) -> None:
        self._host, self._ledger = host, ledger
        self._tries = 0
        self._at_s: float | None = 0.0

    def keep(self) -> None:
        """Start the engine if it is time to."""
        if self._at_s is not None and time.monotonic() >= self._at_s:
            self._at_s = None
            self._ledger.tell_bench(engine="starting")
            self._host.start()

    def running(self) -> None:
        """The engine has started well."""
        self._tries = 0

    def again(self, *, soon: bool) -> None:
        """Start another one after a while: the longer, the more often that has failed."""
        wait_s = AGAIN_S[min(self._tries, len(AGAIN_S) - 1)]
        self._tries += 1
        self._at_s = time.monotonic() + (wait_s if soon else AGAIN_S[-1])

    def rest(self, line: str) -> None:
        """End the engine, so that its interface is free; `line` says what for."""
        self.refuse_if_resting()
        self._host.stop()
        self._at_s = None
        self._ledger.tell_bench(engine="resting", line=line)

    def wake(self) -> None:
        """Start the engine again if it rests."""
        if self._ledger.bench["engine"] == "resting":
            self._at_s = 0.0
            self._ledger.tell_bench(engine="starting", line=None)

    def refuse_if_resting(self) -> None:
        """NotNowError with what the engine rests for."""
        if self._ledger.bench["engine"] == "resting":
            raise NotNowError(str(self._ledger.bench["line"]))
