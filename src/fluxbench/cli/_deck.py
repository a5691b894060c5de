"""`fluxbench deck`: the practice deck in a process of its own."""

from functools import partial
from pathlib import Path
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
    samples_port: Annotated[
        int | None,
        typer.Option(help="Port of the samples, 0 for any free one; no sound server then."),
    ] = None,
    state: Annotated[
        Path | None, typer.Option(help="File that keeps trimmers and tapes; with --samples-port.")
    ] = None,
    alone: Annotated[
        float, typer.Option(help="End after so many seconds with nobody there, 0 for never.")
    ] = 0.0,
) -> None:
    """Run the practice deck on a JACK sound server, or on a port, until it is told to end.

    Prints the address of its controls when it is ready.
    """
    from fluxbench.base import MisuseError
    from fluxbench.deck import KeptDeck, serve_deck, serve_samples

    if samples_port is not None:
        made_as = {"tracks": tracks, "speed_ips": speed, "seed": seed}
        serve_samples(
            lambda lock: KeptDeck(state, lock, made_as),
            port=port,
            samples_port=samples_port,
            alone_s=alone,
        )
        return
    if state is not None or alone:
        raise MisuseError("--state and --alone are for --samples-port; give that one as well")
    serve_deck(partial(_practice_deck, tracks, speed, seed), name=name, port=port, server=server)


def _practice_deck(tracks: int, speed_ips: float, seed: int, rate_hz: int) -> "ServedDeck":
    from fluxbench.deck import PracticeDeck

    return PracticeDeck(tracks=tracks, speed_ips=speed_ips, seed=seed, rate_hz=rate_hz)
