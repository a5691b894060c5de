"""`fluxbench serve`: the bench for a browser."""

import os
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from fluxbench.cli._data import BookAt, bench_of, book_at, files_beside
from fluxbench.cli._interface_named import HostApi, host_api_now

if TYPE_CHECKING:
    from fluxbench.links import Link, SilenceKey
    from fluxbench.web import Lan


def serve(
    interface: Annotated[
        str | None,
        typer.Option(help="Sound interface of the deck; the practice deck if left out."),
    ] = None,
    host_api: HostApi = None,
    controls: Annotated[
        str | None, typer.Option(help="Address of that deck's controls, if it has any.")
    ] = None,
    port: Annotated[int, typer.Option(help="Port of the bench, 0 for any free one.")] = 7355,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Do not open a browser.")
    ] = False,
    lan: Annotated[
        bool, typer.Option("--lan", help="Answer on the local network too, to paired devices.")
    ] = False,
    lan_address: Annotated[
        list[str] | None,
        typer.Option(
            help="Answer there alone: one of this machine's numbers on a local network; "
            "may be given several times. All of them if left out."
        ),
    ] = None,
    book: BookAt = None,
    bench: Annotated[
        str | None,
        typer.Option(help="This bench's name in a shared book; the machine's if left out."),
    ] = None,
    tracks: Annotated[int, typer.Option(min=1, max=24, help="Tracks of a new practice deck.")] = 8,
    speed: Annotated[
        float, typer.Option(help="Inches per second of a new practice deck: 7.5, 15 or 30.")
    ] = 15.0,
    seed: Annotated[int, typer.Option(min=0, help="Which practice deck of all.")] = 1,
) -> None:
    """Run the bench: the screens in a browser, everything else behind them."""
    from functools import partial

    from fluxbench import __version__
    from fluxbench.base import MisuseError
    from fluxbench.book import Book
    from fluxbench.cli._lan import lan_at
    from fluxbench.cli._practice import PracticeProcess
    from fluxbench.links import HttpControls, StreamLink
    from fluxbench.session import Session
    from fluxbench.web import build_app, listen_on, serve_app

    for name, given in (("--controls", controls), ("--host-api", host_api)):
        if given is not None and interface is None:
            raise MisuseError(f"{name} alone is no deck; give --interface as well")
    addresses = _addresses(lan, lan_address)
    place = book_at(book)
    called = bench_of(place, bench)
    kept, practice, network = None, None, None
    listeners = [listen_on(port)]
    try:
        port = listeners[0].getsockname()[1]
        listeners += [listen_on(port, address) for address in addresses]
        kept = Book(place, called)
        if addresses:
            network = lan_at(addresses, port, files_beside(place, called))
        if interface is None:
            practice = PracticeProcess(files_beside(place, called), tracks, speed, seed)
            hands: HttpControls | None = practice.hands
            session = Session(
                kept, partial(StreamLink, practice.at.samples_port), "practice deck", __version__,
                hands, practice=True,
            )  # fmt: skip
        else:
            hands = None if controls is None else HttpControls(controls)
            opens = partial(_open_interface, interface, host_api or host_api_now(interface))
            session = Session(kept, opens, interface, __version__, hands)
        app = build_app(session, lan=network)
        serve_app(app, listeners, partial(_ready, not no_browser, network))
    finally:
        for listener in listeners:
            listener.close()
        if kept is not None:
            kept.close()
        if practice is not None:
            practice.end()


def _open_interface(name: str, host_api: str | None, silence: "SilenceKey") -> "Link":
    from fluxbench.links import PortAudioLink

    return PortAudioLink(name, host_api=host_api, silence=silence)


def _addresses(lan: bool, named: list[str] | None) -> tuple[str, ...]:
    """Where to answer besides this machine itself; MisuseError."""
    from fluxbench.base import MisuseError
    from fluxbench.cli._lan import chosen, local_addresses

    if named and not lan:
        raise MisuseError("--lan-address alone does nothing; give --lan as well")
    if not lan:
        return ()
    return chosen(named) if named else local_addresses()


def _ready(open_browser: bool, network: "Lan | None", address: str) -> None:
    print(f"Fluxbench: {address} (Ctrl-C ends it)", flush=True)
    if network is not None:
        from fluxbench.cli._lan import tell_lan

        tell_lan(network)
    if open_browser and has_display():
        import threading
        import webbrowser

        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def has_display() -> bool:
    """Whether there is a screen that a browser could open on."""
    if sys.platform in ("darwin", "win32"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
