"""Channels of an interface made alike, so that a level means the same dBu on all of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag
from fluxbench.links import Link

F32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class ChannelTrims:
    """A factor for every channel, from the first on; channels beyond them stay as they are."""

    send_ratio: tuple[float, ...] = ()
    return_ratio: tuple[float, ...] = ()


class EvenLink:
    """A link with `trims` on its channels, from the next block on.

    What would be above full scale on its output is cut off, and its block carries
    `Flag.OUTPUT_LOST`, since it was not sent as it was meant.
    """

    def __init__(self, link: Link) -> None:
        self._link = link
        self._sends = np.ones(link.outputs, np.float32)
        self._returns = np.ones(link.inputs, np.float32)
        self._trims = ChannelTrims()

    @property
    def rate_hz(self) -> int:
        return self._link.rate_hz

    @property
    def inputs(self) -> int:
        return self._link.inputs

    @property
    def outputs(self) -> int:
        return self._link.outputs

    def trim(self, trims: ChannelTrims) -> None:
        """Use other factors."""
        self._trims = trims
        self._sends = _factors(trims.send_ratio, self.outputs)
        self._returns = _factors(trims.return_ratio, self.inputs)

    def exchange(self, send: F32) -> Block:
        """As the link's own."""
        if self._trims == ChannelTrims():
            return self._link.exchange(send)
        out = send * self._sends
        high = np.abs(out).max(initial=0.0) > max(1.0, np.abs(send).max(initial=0.0))
        block = self._link.exchange(np.clip(out, -1.0, 1.0) if high else out)
        flags = block.flags | Flag.OUTPUT_LOST if high else block.flags
        return Block(block.samples * self._returns, block.first_frame, flags)

    def close(self) -> None:
        """As the link's own."""
        self._link.close()


def _factors(given: tuple[float, ...], channels: int) -> F32:
    factors = np.ones(channels, np.float32)
    known = given[:channels]
    factors[: len(known)] = known
    return factors
