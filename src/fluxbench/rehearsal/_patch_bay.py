"""The cables between a deck and an interface with fewer channels, as a person plugs them."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Cables
from fluxbench.links import Link


class PatchBay:
    """An interface with so many channels before a deck with so many tracks.

    Nothing is plugged at first: what is sent goes nowhere, and silence comes back.
    """

    def __init__(self, deck: Link, inputs: int, outputs: int) -> None:
        self._deck = deck
        self.rate_hz, self.inputs, self.outputs = deck.rate_hz, inputs, outputs
        nothing = (None,)
        self._cables = Cables(deck.inputs, nothing * inputs, nothing * outputs)

    def plug(self, cables: Cables) -> None:
        """Plug all cables as told, and pull the others."""
        self._cables = cables

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Exchange a block (frames, channels) through the cables."""
        into = np.zeros((len(send), self._deck.outputs), np.float32)
        for channel, track in enumerate(self._cables.sends):
            if track is not None:
                into[:, track] += send[:, channel]
        if self._cables.mult is not None:
            into += send[:, [self._cables.mult]]
        block = self._deck.exchange(into)
        back = np.zeros((len(block.samples), self.inputs), np.float32)
        for channel, track in enumerate(self._cables.returns):
            if track is not None:
                back[:, channel] = block.samples[:, track]
        return Block(back, block.first_frame, block.flags)

    def close(self) -> None:
        """Let the deck go."""
        self._deck.close()
