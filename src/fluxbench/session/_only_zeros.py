"""An interface that has gone without a word: its stream runs on and gives nothing but zeros."""

from fluxbench.measure import HOP_S
from fluxbench.session._engine_process import Heard

TOLD_AFTER_S = 0.5
"""No analogue input is exactly zero for so long, on all channels at once: its noise is not."""


class OnlyZeros:
    """Tells when all returns have been exactly zero for half a second; one method, one thread."""

    def __init__(self) -> None:
        self._hops = 0

    def stand_in(self, heard: Heard) -> bool:
        """Whether zeros are all that comes, after a step's hops."""
        for hop in heard.hops:
            self._hops = 0 if hop.total_power.any() else self._hops + 1
        return self._hops * HOP_S >= TOLD_AFTER_S
