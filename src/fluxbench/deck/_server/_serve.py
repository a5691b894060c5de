"""A deck in a process of its own: its tracks on the sound server, its hands over HTTP."""

import signal
import sys
import threading
import time
from collections.abc import Callable

from fluxbench.base import LinkError
from fluxbench.deck._server._client import DeckClient, open_client
from fluxbench.deck._server._hands import ServedDeck
from fluxbench.deck._server._http import ControlsServer
from fluxbench.deck._server._kept import KeptDeck
from fluxbench.deck._server._samples import SamplesServer

_SWITCH_S = 5e-4  # the callback waits no longer than this for the worker's Python code


def serve_deck(
    build: Callable[[int], ServedDeck],
    *,
    name: str = "deck",
    port: int = 8765,
    server: str | None = None,
) -> None:
    """Serve the deck that `build` makes for the sound server's rate in Hz, until told to end.

    Prints one line with the address of the controls when ready; SIGTERM or SIGINT ends it, and it
    then tells on standard error what came late. To be called in the main thread of a process that
    does nothing else. MisuseError for a port or name in use, NoServerError without a sound server,
    LinkError when the server or the deck fails on the way.
    """
    told_to_end = threading.Event()
    lock = threading.Lock()
    controls = ControlsServer(port, lock)
    client: DeckClient | None = None
    try:
        sound = open_client(name, server)
        try:
            deck = build(int(sound.samplerate))
            if deck.rate_hz != sound.samplerate:
                raise LinkError(
                    f"the deck runs at {deck.rate_hz} Hz, the sound server at {sound.samplerate}"
                )
            client = DeckClient(sound, deck, lock)
        except BaseException:
            sound.close()
            raise
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: told_to_end.set())
        sys.setswitchinterval(_SWITCH_S)
        client.start()
        controls.start(deck)
        print(
            f"{name}: {deck.tracks} tracks at {deck.rate_hz} Hz, controls at {controls.url}",
            flush=True,
        )
        while not (told_to_end.wait(0.2) or client.over.is_set()):
            pass
    finally:
        controls.close()
        if client is not None:
            client.close()
            print(_account(client), file=sys.stderr)
    if client.failure is not None:
        raise LinkError(client.failure)


def _account(client: DeckClient) -> str:
    return (
        f"late periods: {client.late_periods}, left out: {client.lost_periods}, "
        f"faults of the sound server: {client.server_faults}"
    )


def serve_samples(
    build: Callable[[threading.Lock], KeptDeck],
    *,
    port: int = 0,
    samples_port: int = 0,
    alone_s: float = 0.0,
) -> None:
    """Serve a practice deck whose samples go over a port, with no sound server, until told to end.

    Prints one line with both addresses when ready. With `alone_s` it ends by itself when nobody
    has called and no bench was connected for so long. MisuseError for a port in use, LinkError
    when the deck fails on the way.
    """
    told_to_end = threading.Event()
    lock = threading.Lock()
    controls = ControlsServer(port, lock)
    deck: KeptDeck | None = None
    samples: SamplesServer | None = None
    try:
        samples = SamplesServer(samples_port, lock)
        deck = build(lock)
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: told_to_end.set())
        deck.start()
        samples.start(deck)
        controls.start(deck)
        print(
            f"deck: {deck.tracks} tracks at {deck.rate_hz} Hz, "
            f"samples at port {samples.port}, controls at {controls.url}",
            flush=True,
        )
        while not (told_to_end.wait(0.2) or samples.over.is_set() or deck.over.is_set()):
            used_s = max(samples.last_used_s, controls.last_used_s)
            if alone_s and time.monotonic() - used_s > alone_s:
                break
    finally:
        controls.close()
        if samples is not None:
            samples.close()
        if deck is not None:
            deck.close()
    failure = samples.failure or deck.failure
    if failure is not None:
        raise LinkError(failure)
