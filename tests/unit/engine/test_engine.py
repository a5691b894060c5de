"""The engine over an interface with other channels than the deck has tracks."""

import numpy as np
import pytest

from fluxbench.base import Block, Cables
from fluxbench.engine import Engine
from fluxbench.signals import PerTrack, Tone

RATE_HZ = 48_000
HALF_DB = -6.0206


class Wires:
    """Output n is cabled to input n."""

    rate_hz = RATE_HZ
    inputs = outputs = 3

    def __init__(self) -> None:
        self._at = 0

    def exchange(self, send: np.ndarray) -> Block:
        block = Block(send.copy(), self._at)
        self._at += len(send)
        return block

    def close(self) -> None:
        """Nothing to let go."""


def level_dbfs(engine: Engine) -> np.ndarray:
    """Level of the tone on every track once it has settled."""
    for _ in range(20):
        hops = engine.step()
    return np.asarray(hops[-1].level_dbfs()[0])


def test_tracks_come_back_through_their_channels() -> None:
    """A sine of -12 dBFS reads so; -18 on the next track. By definition of the decibel."""
    bank = Cables(4, (2, 3, None), (2, 3, None))
    engine = Engine(Wires(), 4, cables=bank)
    levels = [HALF_DB * n for n in range(1, 5)]
    engine.send(PerTrack(tuple(Tone(1000.0, level) for level in levels)))
    engine.listen([1000.0])
    read = level_dbfs(engine)
    assert read[2:] == pytest.approx(levels[2:], abs=0.01)
    assert (read[:2] < -150.0).all()
    engine.cable(Cables(4, (0, 1, None), (0, 1, None)))
    read = level_dbfs(engine)
    assert read[:2] == pytest.approx(levels[:2], abs=0.01)


def test_a_deck_with_other_tracks_begins_anew() -> None:
    engine = Engine(Wires(), 3, cables=Cables.listening(3))
    level_dbfs(engine)
    engine.cable(Cables.straight(2))
    assert (engine.tracks, engine.time_s) == (2, 0.0)
    engine.send(Tone(1000.0, HALF_DB))
    engine.listen([1000.0])
    assert level_dbfs(engine) == pytest.approx([HALF_DB] * 2, abs=0.01)
