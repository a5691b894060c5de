"""`fluxbench deck`: the practice deck in a process of its own."""

from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from fluxbench.deck._server import ServedDeck


def deck(
    tracks: Annotated[int, typer.Option(help="Tracks of the deck.")] = 24,
    speed: Annotated[float, typer.Option(help="Tape speed in inches per second.")] = 15.0,
    seed: Annotated[int, typer.Option(help="Which deck of all the possible ones.")] = 1,
    port: Annotated[int, typer.Option(help="Port of the controls, 0 for any free one.")] = 8765,
    server: Annotated[
        str | None, typer.Option(help="Name of the JACK sound server, if not the default one.")
    ] = None,
    name: Annotated[str, typer.Option(help="Name of the deck on the sound server.")] = "deck",
) -> None:
    """Run the practice deck on a JACK sound server until it is told to end.

    Prints the address of its controls when it is ready.
    """
    from fluxbench.deck import serve_deck

    serve_deck(partial(_practice_deck, tracks, speed, seed), name=name, port=port, server=server)


def _practice_deck(tracks: int, speed_ips: float, seed: int, rate_hz: int) -> "ServedDeck":
    from fluxbench.deck import PracticeDeck

    return PracticeDeck(tracks=tracks, speed_ips=speed_ips, seed=seed, rate_hz=rate_hz)
