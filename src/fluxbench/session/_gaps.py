"""Which hops with missing frames are told as gaps of the stream."""

import time

from fluxbench.lineup import View
from fluxbench.session._engine_process import Heard

HANDS_S = 1.5
"""So long after a change at the deck a tone that jumps is no sign of lost frames."""


class Gaps:
    """Tells a gap from a tone that jumps because somebody works tape or monitor switch.

    What the stream itself says was lost always is a gap. A jump of the tones counts only while a
    line-up runs and nothing is asked of the person; its hops are not used either way.
    """

    def __init__(self) -> None:
        self._busy_until_s = 0.0

    def are_in(self, heard: Heard, view: View | None) -> bool:
        """Whether a step's hops have gaps to be told; `view` is what the line-up shows."""
        now_s = time.monotonic()
        if view is None or view.closed or view.ask is not None:
            self._busy_until_s = now_s + HANDS_S
        busy = now_s < self._busy_until_s
        return heard.left_out > 0 or any(
            hop.lost and not (hop.slipped and busy) for hop in heard.hops
        )
