"""Threads that cannot die unseen."""

import threading
from collections.abc import Callable


class WatchedThread:
    """A thread whose death by an exception is told to `died`, as one line, when it happens."""

    def __init__(self, name: str, run: Callable[[], None], died: Callable[[str], None]) -> None:
        self.name = name
        self._run, self._died = run, died
        self._thread = threading.Thread(target=self._watch, name=name, daemon=True)

    def start(self) -> None:
        """Let it run."""
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        """Wait for its end."""
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _watch(self) -> None:
        try:
            self._run()
        except BaseException as error:
            reason = " ".join(f"{type(error).__name__}: {error}".split())
            self._died(f"the part {self.name!r} of the bench has failed ({reason}); start it again")
