"""The practice deck as `fluxbench deck` runs it, on a clock that runs faster than the wall's.

``FLUXBENCH_TEST_PACE=6 python -m tests.benches.quick_deck …``: six seconds of tape in one second,
or as many as the machine allows; what comes late is late, and nothing is lost. The bench counts its
time in samples, so all that it decides is as it would be.
"""

import os
import sys
import time

from fluxbench.cli import main
from fluxbench.deck._server import _samples

PACE = float(os.environ.get("FLUXBENCH_TEST_PACE", "1"))


class QuickClock:
    """Stands for `time` in the one place where the deck waits for the wall."""

    @staticmethod
    def monotonic() -> float:
        return PACE * time.monotonic()

    @staticmethod
    def sleep(seconds: float) -> None:
        time.sleep(seconds / PACE)


if __name__ == "__main__":
    _samples.time = QuickClock  # type: ignore[assignment]
    sys.exit(main(["deck", *sys.argv[1:]]))
