"""A made-up interface with cables on it, opened in the process of a trial."""

import os
import time
from pathlib import Path

import numpy as np

from fluxbench.base import Block
from fluxbench.links import Interface as Named
from fluxbench.links import SilenceKey
from fluxbench.session import Wish
from tests.benches.two_clocks import TwoClocks

RATE_HZ = 48_000
DELAY = 1234

DESK = Named("desk", "made up", 2, 2, RATE_HZ)
APART = Named("apart", "made up", 2, 2, RATE_HZ)
"""Its clock is not the desk's."""
DRIFT_PPM = 40.0
GAINS_DB = np.array([0.4, -1.0])
OUT_DBU = np.array([18.0, 18.3])
"""Full scale of the outputs; that of the inputs is 0.4 dB below and 1 dB above."""


def listed() -> list[Named]:
    """What can be opened."""
    return [DESK, APART]


class Desk:
    """Two outputs cabled to two inputs; with pauses, so that nobody waits for ever.

    While there is a file that FLUXBENCH_TEST_HELD names, no block comes to its end.
    """

    rate_hz, inputs, outputs = RATE_HZ, 2, 2

    def __init__(self, silence: SilenceKey) -> None:
        self._silence = silence
        self._pause_s = float(os.environ.get("FLUXBENCH_TEST_BLOCK_S", "0.0005"))
        held = os.environ.get("FLUXBENCH_TEST_HELD")
        self._held = None if held is None else Path(held)
        self._under_way = np.zeros((DELAY, 2), np.float32)
        self._frame = 0
        self._random = np.random.default_rng(3)

    def exchange(self, send: np.ndarray) -> Block:
        time.sleep(self._pause_s)
        while self._held is not None and self._held.exists():
            time.sleep(0.01)
        sent = np.concatenate([self._under_way, send * (not self._silence.is_set())])
        self._under_way, first = sent[len(send) :], self._frame
        self._frame += len(send)
        hiss = 1e-5 * self._random.standard_normal(send.shape, np.float32)
        heard = sent[: len(send)] * (10.0 ** (GAINS_DB / 20.0)) + hiss
        return Block(heard.astype(np.float32), first)

    def close(self) -> None:
        pass


def opened(wish: Wish, silence: SilenceKey) -> Desk | TwoClocks:
    """Open it; sending to `apart`, two clocks drift."""
    if wish.send_to is not None:
        return TwoClocks(DRIFT_PPM, delay=DELAY, inputs=2, outputs=2)
    return Desk(silence)


def open_desk(silence: SilenceKey) -> Desk:
    """For the engine of a bench that runs on it."""
    return Desk(silence)
