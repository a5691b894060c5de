"""A link as the deck sees it: one way in and out for each track, through the cables that hang."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Cables, MisuseError
from fluxbench.links._protocols import Link
from fluxbench.links._sends import check_send


class CabledLink:
    """As many ways as the deck has tracks, over an interface with its own number of channels.

    What is sent to a track without a cable goes nowhere, and silence comes back from it. `cable`
    takes effect with the next exchange.
    """

    def __init__(self, link: Link, cables: Cables) -> None:
        self._link = link
        self.rate_hz = link.rate_hz
        self.cable(cables)

    def cable(self, cables: Cables) -> None:
        """Take over other cables; MisuseError for channels that the interface does not have."""
        for side, wanted, has in (
            ("inputs", len(cables.returns), self._link.inputs),
            ("outputs", max(len(cables.sends), 1 + (cables.mult or 0)), self._link.outputs),
        ):
            if wanted > has:
                raise MisuseError(f"the interface has {has} {side}; {wanted} are cabled")
        self._cables = cables
        straight = cables == Cables.straight(cables.tracks)
        channels = self._link.inputs, self._link.outputs
        self._straight = straight and channels == (cables.tracks, cables.tracks)
        self._into = [c for c, track in enumerate(cables.sends) if track is not None]
        self._fed = [track for track in cables.sends if track is not None]
        self._from = [c for c, track in enumerate(cables.returns) if track is not None]

    @property
    def inputs(self) -> int:
        """One for each track."""
        return self._cables.tracks

    @property
    def outputs(self) -> int:
        """One for each track."""
        return self._cables.tracks

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Exchange a block (frames, tracks); the flags are those of the interface."""
        check_send(send, self.outputs)
        if self._straight:
            return self._link.exchange(send)
        out = np.zeros((len(send), self._link.outputs), np.float32)
        out[:, self._into] = send[:, self._fed]
        if self._cables.mult is not None:
            out[:, self._cables.mult] = send[:, self._cables.heard[0]]
        block = self._link.exchange(out)
        back = np.zeros((len(block.samples), self.inputs), np.float32)
        back[:, self._cables.heard] = block.samples[:, self._from]
        return Block(back, block.first_frame, block.flags)

    def close(self) -> None:
        """Close the interface."""
        self._link.close()
