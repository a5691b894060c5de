"""What a link and a deck's hands look like to everything above."""

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block


class Link(Protocol):
    """A two-way stream of samples: what is sent goes in, what came back comes out.

    `exchange` takes a float32 array (frames, outputs), full scale 1, and gives back the next as
    many frames of all inputs; it waits for them if the link is a live one. Frames come back in
    order, each once; lost ones are told by the block's flags and by the jump of `first_frame`.
    An overflow that the sound server reports does not say how many frames it cost: there the flag
    stands alone. What `Flag.OUTPUT_LOST` tells of was not sent; it is missed in the returns later,
    by the round trip and the way from record to reproduce head. The delay from a sent frame to
    its return never changes while a link is open.

    Errors: MisuseError for a send of the wrong shape or type, LinkError once closed,
    DeviceLostError when a live stream ends or stands still for a second.
    """

    @property
    def rate_hz(self) -> int: ...
    @property
    def inputs(self) -> int: ...
    @property
    def outputs(self) -> int:
        """Channels that can be sent; 0 for a link that cannot send, such as a file."""
        ...

    def exchange(self, send: NDArray[np.float32]) -> Block: ...
    def close(self) -> None: ...


class DeckControls(Protocol):
    """The hands at a deck, as far as a person has them: `contracts/deck-controls.md` as methods.

    All answers are plain JSON-like mappings, equal to what the HTTP calls of the contract give.
    A refused call raises `DeckError` with one line.
    """

    def state(self) -> Mapping[str, Any]: ...
    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Turn a trimmer (positive: clockwise); give back the seconds that the hand needs."""
        ...

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> Mapping[str, Any]: ...
    def load(self, tape: str) -> Mapping[str, Any]: ...
    def locate(
        self, section: int | None = None, position_s: float | None = None
    ) -> Mapping[str, Any]: ...
    def truth(self) -> Mapping[str, Any]:
        """For a judge only, after the line-up is closed."""
        ...
