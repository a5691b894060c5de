"""A deck that works out ahead what comes back next gives the same samples as one that does not."""

from collections.abc import Iterator

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck

BLOCK = 1920
TRACKS = 4


def returned(look_ahead: bool, speed_ips: float) -> Iterator[np.ndarray]:
    """Everything that comes back while hands do all that hands do, and what they see."""
    deck = PracticeDeck(TRACKS, speed_ips, seed=3, faults=["crossed:3,4"])
    rng = np.random.default_rng(5)

    def run(blocks: int, frames: int = BLOCK) -> Iterator[np.ndarray]:
        for _ in range(blocks):
            yield deck.give_back((0.1 * rng.standard_normal((frames, TRACKS))).astype(np.float32))
            deck.take_in()
            if look_ahead:
                deck.look_ahead(BLOCK)

    deck.load("calibration")
    yield from run(30)
    deck.transport("play", monitor="reproduce")
    yield from run(20)
    deck.turn("reproduce_level", 0.6, 3)
    yield from run(8)
    deck.turn("reproduce_azimuth", 0.3)
    deck.turn("bias", 0.3, 4)
    deck.turn("sync_level", 0.3, 2)
    yield from run(20)
    yield np.array([deck.state()["position_s"]])
    yield from run(3, frames=700)
    deck.load("stock")
    yield from run(30)
    deck.transport("record", range(1, TRACKS + 1))
    yield from run(12)
    deck.turn("bias", 2.0, 4)
    yield from run(6)
    deck.turn("record_level", 1.0, 4)
    yield from run(30)
    deck.transport(monitor="sync", ready=[1, 2])
    yield from run(12)
    deck.transport(monitor="input")
    yield from run(3)
    deck.transport("play", ready=[], monitor="reproduce")
    yield from run(12)
    deck.locate(position_s=1.0)
    yield from run(3)
    yield np.concatenate([np.ravel(found) for found in deck.truth()["residual"].values()])


@pytest.mark.parametrize("speed_ips", [7.5, 30.0])
def test_same_samples_and_same_sights(speed_ips: float) -> None:
    pairs = zip(returned(True, speed_ips), returned(False, speed_ips), strict=True)
    differ = [number for number, (one, other) in enumerate(pairs) if not np.array_equal(one, other)]
    assert not differ


def test_it_is_done_ahead() -> None:
    """With nothing to take back, the block that was made ready is the one given out."""
    deck = PracticeDeck(TRACKS)
    deck.look_ahead(BLOCK)
    drawn = deck._works._white.rng.bit_generator.state
    deck.transport("play")
    deck.give_back(np.zeros((BLOCK, TRACKS), np.float32))
    deck.take_in()
    assert deck._works._white.rng.bit_generator.state != drawn
    deck.look_ahead(BLOCK)
    drawn = deck._works._white.rng.bit_generator.state
    deck.give_back(np.zeros((BLOCK, TRACKS), np.float32))
    assert deck._works._white.rng.bit_generator.state == drawn
