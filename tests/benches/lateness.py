"""How late this machine was, measured: what a limit by the clock on the wall has to allow for.

A limit says how soon something of the bench happens on a machine that is there for it. One that is
busy with other things, or stands still for a while, is late with everything.
"""

import threading
import time
from types import TracebackType

LOOK_S = 0.01
STRETCHED = 10.0
"""Where a core is shared by so many, all takes so many times as long, not only the waking up."""


class Lateness:
    """A thread that does nothing but sleep; how late it wakes up is how late everything is."""

    def __init__(self) -> None:
        self.late_s = 0.0
        """In all, so far."""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, name="lateness")

    def __enter__(self) -> "Lateness":
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()

    @property
    def excused_s(self) -> float:
        """So much longer than on an idle machine may what was watched have taken."""
        return STRETCHED * self.late_s

    def _look(self) -> None:
        while not self._over.is_set():
            began_s = time.monotonic()
            time.sleep(LOOK_S)
            self.late_s += max(0.0, time.monotonic() - began_s - 2.0 * LOOK_S)
