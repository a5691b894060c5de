"""A deck's samples on a port: what a bench hears when another deck comes to stand there."""

import threading
import time

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.base import LinkError
from fluxbench.deck import KeptDeck
from fluxbench.deck._server import SamplesServer, _samples
from fluxbench.links import StreamLink, _stream

RATE_HZ = 8000
PATIENCE_S = 20.0


def blocks(link: StreamLink, silence: NDArray[np.float32]) -> None:
    for _ in range(3):
        link.exchange(silence)


@pytest.mark.parametrize(("tracks", "then"), [(2, 4), (4, 2)])
def test_a_bench_is_hung_up_on_at_once_by_a_deck_of_other_tracks(
    tracks: int, then: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # So long the deck waits for the rest of a block: longer than a busy machine takes for all.
    monkeypatch.setattr(_samples, "_PATIENCE_S", PATIENCE_S)
    monkeypatch.setattr(_stream, "GIVEN_UP_S", 3.0 * PATIENCE_S)
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
        assert time.monotonic() - began_s < PATIENCE_S
        link.close()
        again = StreamLink(server.port)
        assert again.inputs == then
        again.close()
    finally:
        server.close()
