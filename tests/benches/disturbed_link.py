"""A link on which everything goes wrong now and then; what goes wrong, and when, is by its seed."""

import random
from dataclasses import replace

import numpy as np

from fluxbench.base import Block, Flag
from fluxbench.links import Link

EVERY_S = (4.0, 12.0)
TOLD_S = (0.02, 0.6)
SILENT_FRAMES = (8, 4096)
ZEROS_S = (0.3, 2.0)


class DisturbedLink:
    """Frames are lost and told (anything comes in their place), lost in silence, or are zeros."""

    def __init__(self, link: Link, seed: int) -> None:
        self._link = link
        self.rate_hz, self.inputs, self.outputs = link.rate_hz, link.inputs, link.outputs
        self._chance = random.Random(seed)
        self._next = self._soon(0)
        self._now, self._until = "", 0
        self._frame = 0
        self.happened = {"told": 0, "silent": 0, "zeros": 0}

    def _soon(self, frame: int) -> int:
        return frame + round(self._chance.uniform(*EVERY_S) * self.rate_hz)

    def exchange(self, send: np.ndarray) -> Block:
        """As the link's own, or not quite."""
        if self._frame >= self._next:
            self._begin()
        block = self._link.exchange(send)
        block = Block(block.samples, self._frame, block.flags)
        self._frame += len(send)
        if self._frame > self._until:
            return block
        if self._now == "zeros":
            return replace(block, samples=np.zeros_like(block.samples))
        spoilt = (self._chance.uniform(0.0, 0.9) * block.samples).astype(np.float32)
        return replace(block, samples=spoilt, flags=Flag.INPUT_LOST)

    def _begin(self) -> None:
        kind = self._chance.choice(list(self.happened))
        self.happened[kind] += 1
        if kind == "silent":
            self._link.exchange(
                np.zeros((self._chance.randint(*SILENT_FRAMES), self.outputs), np.float32)
            )
        else:
            long_s = self._chance.uniform(*(ZEROS_S if kind == "zeros" else TOLD_S))
            self._now, self._until = kind, self._frame + round(long_s * self.rate_hz)
        self._next = self._soon(max(self._frame, self._until))

    def close(self) -> None:
        """As the link's own."""
        self._link.close()
