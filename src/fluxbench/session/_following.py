"""Hops of the engine in the line-up's own count of frames."""

from dataclasses import replace

from fluxbench.lineup import LineUp
from fluxbench.measure import HOP_S, Hop


class Following:
    """A line-up counts on from where it was, whatever the engine counts that feeds it."""

    def __init__(self) -> None:
        self._goes_on = False
        self._shift = 0

    def end(self) -> None:
        """The next hop does not follow the one before."""
        self._goes_on = False

    def show(self, lineup: LineUp, hop: Hop) -> bool:
        """Show it the hop; False if it is closed or has other tracks."""
        if lineup.view.closed or len(hop.peak) != lineup.plan.tracks:
            self._goes_on = False
            return False
        if not self._goes_on:
            self._goes_on = True
            self._shift = round(lineup.time_s / HOP_S) * hop.frames - hop.first_frame
        lineup.see(replace(hop, first_frame=hop.first_frame + self._shift))
        return True
