"""`fluxbench rehearse`: a technician lines a deck up, by the bench or by a needle."""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

if TYPE_CHECKING:
    from fluxbench.links import DeckApart, DeckControls, Link
    from fluxbench.rehearsal import Rehearsed

SPEEDS_IPS = (7.5, 15.0, 30.0)
LOWEST_RATE_HZ = 44_100
HANDS_TIMEOUT_S = 15.0


class Method(StrEnum):
    """By what the technician works."""

    GUIDED = "guided"
    NEEDLE = "needle"


def rehearse(
    tracks: Annotated[
        int | None, typer.Option(min=1, max=24, help="Tracks of the deck, 8 if left out.")
    ] = None,
    speed: Annotated[
        float | None, typer.Option(help="Inches per second: 7.5, 15 or 30; 15 if left out.")
    ] = None,
    seed: Annotated[
        int, typer.Option(min=0, help="Which deck and which hands of all the possible ones.")
    ] = 1,
    method: Annotated[
        Method, typer.Option(help="What the technician works by: the bench, or a meter.")
    ] = Method.GUIDED,
    stock: Annotated[
        str | None, typer.Option(help="Stock of tape on the practice deck, even if left out.")
    ] = None,
    fault: Annotated[
        list[str] | None, typer.Option(help="What is wrong with the practice deck; repeatable.")
    ] = None,
    rate: Annotated[int | None, typer.Option(help="Sample rate in Hz, 48000 if left out.")] = None,
    inputs: Annotated[
        int | None, typer.Option(min=1, help="Inputs of the bench, as many as tracks if left out.")
    ] = None,
    outputs: Annotated[
        int | None, typer.Option(min=1, help="Outputs of the bench; one is multed to all tracks.")
    ] = None,
    interface: Annotated[
        str | None, typer.Option(help="Sound interface of a deck in another process.")
    ] = None,
    controls: Annotated[
        str | None, typer.Option(help="Address of that deck's controls, http://127.0.0.1:PORT.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(help="Write the journal to this file as it comes, JSON Lines.")
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on one line, nothing else.")
    ] = False,
) -> None:
    """Line up a deck from start to end, and tell what is left between actual and ideal.

    The deck is the practice deck, or with --interface and --controls one behind a sound interface.
    """
    from fluxbench.base import MisuseError

    if (interface is None) != (controls is None):
        given, wanted = "--interface", "--controls"
        if interface is None:
            given, wanted = wanted, given
        raise MisuseError(f"{given} alone is no deck; give {wanted} as well")
    if interface is None or controls is None:
        with _practice_deck(tracks, speed, seed, rate, stock, fault or ()) as deck:
            channels = _channels(inputs, outputs, deck, method)
            _report(deck, deck, seed, method, report, as_json, channels)
    else:
        of_the_deck = {
            "--rate": rate, "--stock": stock, "--fault": fault or None,
            "--inputs": inputs, "--outputs": outputs,
        }  # fmt: skip
        given_too = [option for option, value in of_the_deck.items() if value is not None]
        if given_too:
            raise MisuseError(
                f"{given_too[0]} is for the practice deck of this command; "
                "leave it out, a deck on an interface has its own"
            )
        _report(*_deck_outside(interface, controls, tracks, speed), seed, method, report, as_json)


def _report(
    link: "Link",
    hands: "DeckControls",
    seed: int,
    method: Method,
    report: Path | None,
    as_json: bool,
    channels: tuple[int, int] | None = None,
) -> None:
    try:
        with Report(report) as journal:
            _run(link, hands, seed, method, journal, as_json, channels)
    finally:
        link.close()


def _channels(
    inputs: int | None, outputs: int | None, deck: "Link", method: Method
) -> tuple[int, int] | None:
    """Inputs and outputs of a bench with fewer of them than the deck has tracks."""
    from fluxbench.base import MisuseError

    if inputs is None and outputs is None:
        return None
    if method is Method.NEEDLE:
        raise MisuseError("a needle has its own cables; leave out --inputs and --outputs")
    return min(inputs or deck.inputs, deck.inputs), min(outputs or deck.outputs, deck.outputs)


def _practice_deck(
    tracks: int | None,
    speed_ips: float | None,
    seed: int,
    rate_hz: int | None,
    stock: str | None,
    faults: Sequence[str],
) -> "DeckApart":
    from functools import partial

    from fluxbench.base import MisuseError
    from fluxbench.deck import PracticeDeck
    from fluxbench.links import DeckApart

    speed_ips = 15.0 if speed_ips is None else speed_ips
    if speed_ips not in SPEEDS_IPS:
        raise MisuseError(f"the practice deck does not run at {speed_ips:g} in/s; use 7.5, 15, 30")
    rate_hz = 48_000 if rate_hz is None else rate_hz
    if rate_hz < LOWEST_RATE_HZ:
        raise MisuseError(
            f"a line-up sends tones up to 20 kHz and cannot run at {rate_hz} Hz;"
            f" give --rate {LOWEST_RATE_HZ} or more"
        )
    factory = partial(
        PracticeDeck,
        tracks=8 if tracks is None else tracks,
        speed_ips=speed_ips,
        seed=seed,
        rate_hz=rate_hz,
        stock="even" if stock is None else stock,
        faults=faults,
    )
    return DeckApart(factory)


def _deck_outside(
    interface_name: str, url: str, tracks: int | None, speed_ips: float | None
) -> "tuple[Link, DeckControls]":
    from fluxbench.base import DeckError, MisuseError
    from fluxbench.links import HttpControls, PortAudioLink

    hands = HttpControls(url, HANDS_TIMEOUT_S)
    state = hands.state()
    try:
        has_tracks, has_ips, has_hz = (
            int(state["tracks"]),
            float(state["speed_ips"]),
            int(state["rate_hz"]),
        )
    except (KeyError, TypeError, ValueError):
        raise DeckError(f"the deck at {url} does not tell its tracks, speed and rate") from None
    if tracks not in (None, has_tracks):
        raise MisuseError(f"the deck at {url} has {has_tracks} tracks; leave out --tracks {tracks}")
    if speed_ips not in (None, has_ips):
        raise MisuseError(
            f"the deck at {url} runs at {has_ips:g} in/s; leave out --speed {speed_ips:g}"
        )
    link = PortAudioLink(interface_name, inputs=has_tracks, outputs=has_tracks)
    if link.rate_hz != has_hz:
        link.close()
        raise MisuseError(
            f"{interface_name} runs at {link.rate_hz} Hz and the deck at {url} at {has_hz} Hz; "
            "name the interface and the controls of one deck"
        )
    return link, hands


class Report:
    """The journal in a file, one JSON object a line; an entry is there as soon as it is taken."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._file: TextIO | None = None
        self._entries = 0

    def __enter__(self) -> "Report":
        from fluxbench.base import MisuseError

        if self._path is not None:
            try:
                # Buffered by lines: each one reaches the file when it is written.
                self._file = self._path.open("w", 1, "utf-8", newline="\n")
            except OSError as error:
                raise MisuseError(f"{self._path} cannot be written: {error.strerror}") from None
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        if self._file is not None:
            # Every line has been flushed; only one that failed, and was told, can fail again.
            with suppress(OSError):
                self._file.close()

    def record(self, entry: Mapping[str, Any]) -> None:
        """Write the next entry."""
        from fluxbench.base import FluxbenchError

        self._entries += 1
        if self._file is None:
            return
        try:
            self._file.write(json.dumps(entry, allow_nan=False) + "\n")
        except OSError as error:
            raise FluxbenchError(f"{self._path} cannot be written: {error.strerror}") from None

    def complete(self, journal: Sequence[Mapping[str, Any]]) -> None:
        """Write what of the whole journal has not come entry by entry."""
        for entry in journal[self._entries :]:
            self.record(entry)


def _run(
    link: "Link",
    hands: "DeckControls",
    seed: int,
    method: Method,
    report: Report,
    as_json: bool,
    channels: tuple[int, int] | None,
) -> None:
    from fluxbench.base import FluxbenchError
    from fluxbench.cli._rehearsal_shown import Shown, print_result

    with Shown(quiet=as_json) as shown:
        if method is Method.GUIDED:
            from fluxbench.rehearsal import rehearse_guided

            done = rehearse_guided(link, hands, seed, shown.watch, report.record, channels)
        else:
            from fluxbench.rehearsal import rehearse_needle

            done = rehearse_needle(link, hands, seed, shown.watch)
    report.complete(done.journal)
    if as_json or done.stopped is not None:
        for note in done.notes:
            if note != done.stopped:
                typer.echo(" ".join(note.split()), err=True)
    if done.stopped is not None:
        raise FluxbenchError(done.stopped)
    line = _as_line(done)
    if as_json:
        print(line)
    else:
        print_result(done)


def _as_line(done: "Rehearsed") -> str:
    """The line of the contract, also where nobody asked for it: a broken deck is told to all."""
    from fluxbench.base import DeckError

    try:
        return json.dumps(done.line, allow_nan=False)
    except ValueError:
        raise DeckError("the deck's inner truth holds a number that is not finite") from None
