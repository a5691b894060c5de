"""A deck in this very process as a link: no threads, no clock."""

from collections.abc import Callable
from typing import Protocol, cast

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, LinkError, MisuseError
from fluxbench.links._sends import check_send


class Deck(Protocol):
    """What a deck must have to be linked: samples in, as many frames of all returns out."""

    @property
    def rate_hz(self) -> int: ...
    @property
    def tracks(self) -> int: ...
    def process(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take float32 (frames, tracks), full scale 1; give back the same shape."""
        ...


class DeckLink:
    """A deck, or a picklable factory of one, stepped inline: time passes by its frames alone.

    MisuseError if the deck does not run at `rate_hz` (when given).
    """

    def __init__(self, deck: Deck | Callable[[], Deck], rate_hz: int | None = None) -> None:
        is_factory = isinstance(deck, type) or not hasattr(deck, "process")
        self.deck = cast(Callable[[], Deck], deck)() if is_factory else cast(Deck, deck)
        if rate_hz is not None and rate_hz != self.deck.rate_hz:
            raise MisuseError(f"the deck runs at {self.deck.rate_hz} Hz, not at {rate_hz} Hz")
        self._next_frame = 0
        self._open = True

    @property
    def rate_hz(self) -> int:
        return self.deck.rate_hz

    @property
    def inputs(self) -> int:
        return self.deck.tracks

    @property
    def outputs(self) -> int:
        return self.deck.tracks

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Have the deck run for `len(send)` frames; the flags are always `NONE`."""
        check_send(send, self.outputs)
        if not self._open:
            raise LinkError("the link to the deck is closed; open a new one")
        returned = self.deck.process(send)
        if returned.shape != send.shape:
            raise LinkError(f"the deck gave back shape {returned.shape} for {send.shape}")
        block = Block(np.asarray(returned, np.float32), self._next_frame)
        self._next_frame += len(send)
        return block

    def close(self) -> None:
        """End the link; the deck stays as it is."""
        self._open = False
