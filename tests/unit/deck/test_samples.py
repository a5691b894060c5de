"""A deck's samples on a port: what a bench hears when another deck comes to stand there."""

import threading
import time

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.base import LinkError
from fluxbench.deck import KeptDeck
from fluxbench.deck._server import SamplesServer
from fluxbench.links import StreamLink

RATE_HZ = 8000


def blocks(link: StreamLink, silence: NDArray[np.float32]) -> None:
    for _ in range(3):
        link.exchange(silence)


@pytest.mark.parametrize(("tracks", "then"), [(2, 4), (4, 2)])
def test_a_bench_is_hung_up_on_at_once_by_a_deck_of_other_tracks(tracks: int, then: int) -> None:
    lock = threading.Lock()
    deck = KeptDeck(None, lock, {"tracks": tracks, "rate_hz": RATE_HZ, "seed": 5})
    server = SamplesServer(0, lock)
    server.start(deck)
    try:
        link = StreamLink(server.port)
        silence = np.zeros((160, tracks), np.float32)
        link.exchange(silence)
        with lock:
            deck.renew(seed=5, tracks=then)
        began_s = time.monotonic()
        with pytest.raises(LinkError):
            blocks(link, silence)
        # A quarter of a second is how long the deck waits for the rest of a block.
        assert time.monotonic() - began_s < 0.25
        link.close()
        again = StreamLink(server.port)
        assert again.inputs == then
        again.close()
    finally:
        server.close()
