"""`fluxbench interfaces calibrate`: full scale of every channel in dBu, kept in the book."""

import json
import threading
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from fluxbench.base import MisuseError
from fluxbench.cli._data import BookAt, book_at
from fluxbench.cli._interface_named import HostApi, Name

if TYPE_CHECKING:
    from fluxbench.engine import CalibratedChannel, LoopBack
    from fluxbench.links import Link, PortAudioLink

CAUTION = (
    "A steady tone follows on one output after the other: monitors and headphones down, no deck "
    "that records. Put the meter across the output with its usual cable and load connected: true "
    "rms, good at the tone's frequency, and no part of it on mains wiring."
)
Rate = Annotated[int | None, typer.Option(help="Sample rate in Hz, its own if left out.")]
Inputs = Annotated[int | None, typer.Option(min=1, help="Inputs, all if left out.")]
Outputs = Annotated[int | None, typer.Option(min=1, help="Outputs, all if left out.")]
Level = Annotated[
    float, typer.Option(min=-60.0, max=0.0, help="Peak of what is sent, dB re full scale.")
]
Agreed = Annotated[bool, typer.Option("--agreed", help="The caution was read; do not ask.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object, nothing else.")]
BLOCK_S = 0.02


def calibrate(
    interface: Name,
    meter: Annotated[str, typer.Option(help="Which meter reads, who vouches for it; it is kept.")],
    host_api: HostApi = None,
    rate: Rate = None,
    inputs: Inputs = None,
    outputs: Outputs = None,
    level: Level = -14.0,
    frequency: Annotated[
        float, typer.Option(min=100.0, max=5000.0, help="The tone for the meter, Hz.")
    ] = 1000.0,
    reads: Annotated[
        str | None,
        typer.Option(help="What the meter reads on outputs 1, 2 ...: 4.02dBu,1.23V; else it asks."),
    ] = None,
    uncertainty: Annotated[
        float, typer.Option(min=0.0, max=6.0, help="Standard error of the meter, dB.")
    ] = 0.1,
    book: BookAt = None,
    agreed: Agreed = False,
    as_json: AsJson = False,
) -> None:
    """Calibrate an interface in dBu: outputs by a meter, inputs by cables from the outputs.

    A tone stands on one output at a time while its reading is typed. Then a loop-back check tells
    the inputs, as far as they are cabled. The result is a new calibration in the book; line-ups
    that name the interface use the newest.
    """
    from fluxbench.book import Book
    from fluxbench.engine import LoopCheck, calibrated_inputs, calibrated_outputs, level_dbu
    from fluxbench.links import PortAudioLink
    from fluxbench.session import keep_calibration

    given = None if reads is None else [level_dbu(word) for word in reads.split(",")]
    if not agreed:
        typer.echo(CAUTION, err=True)
        if not typer.confirm("Send?", err=True):
            raise MisuseError("nothing was sent, as you wished")
    place = Book(book_at(book))
    try:
        link = PortAudioLink(interface, rate, inputs, outputs, host_api)
        try:
            read = _readings(link, frequency, level, given)
            known = calibrated_outputs(read, level)
            found = LoopCheck(link, level, 2.0).to_its_end()
        finally:
            link.close()
        channels = (*known, *calibrated_inputs(known, found.cables))
        how = _how(meter, frequency, level)
        keep_calibration(place, link.interface, channels, how, uncertainty, uuid.uuid4().hex)
    finally:
        place.close()
    _show(link, channels, found, as_json=as_json)


def _readings(
    link: "Link", frequency_hz: float, level_dbfs: float, given: Sequence[float] | None
) -> dict[int, float]:
    """What the meter reads on each output, typed while its tone stands there, or given."""
    if given is not None:
        if len(given) > link.outputs:
            raise MisuseError(f"{len(given)} readings are given for {link.outputs} outputs")
        return dict(enumerate(given, 1))
    read: dict[int, float] = {}
    for output in range(1, link.outputs + 1):
        with _standing(link, output, frequency_hz, level_dbfs):
            read[output] = _typed(output, read.get(output - 1))
    return read


def _typed(output: int, before_dbu: float | None) -> float:
    from fluxbench.engine import level_dbu

    like = "" if before_dbu is None else f" (Enter: {before_dbu:.2f} dBu, as the one before)"
    while True:
        default = None if before_dbu is None else f"{before_dbu} dBu"
        word = typer.prompt(f"Output {output}: the meter reads{like}", default, show_default=False,
                            err=True)  # fmt: skip
        try:
            return level_dbu(word)
        except MisuseError as error:
            typer.echo(str(error), err=True)


@contextmanager
def _standing(link: "Link", output: int, frequency_hz: float, level_dbfs: float) -> Iterator[None]:
    """A tone that stands on one output meanwhile, and fades out after it."""
    from fluxbench.signals import PerTrack, Sender, Silence, Tone

    sender = Sender(link.rate_hz, link.outputs)
    frames = round(BLOCK_S * link.rate_hz)
    channels: list[Silence | Tone] = [Silence()] * link.outputs
    channels[output - 1] = Tone(frequency_hz, level_dbfs)
    sender.send(PerTrack(tuple(channels)))
    over = threading.Event()
    gone: list[Exception] = []

    def stand() -> None:
        try:
            while not over.is_set():
                link.exchange(sender.block(frames))
        except Exception as error:
            gone.append(error)

    thread = threading.Thread(target=stand, name="tone", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        if not gone:
            sender.send(Silence())
            for _ in range(10):
                link.exchange(sender.block(frames))
    if gone:
        raise gone[0]


def _how(meter: str, frequency_hz: float, level_dbfs: float) -> str:
    from fluxbench.trade import pitch

    return (
        f"{meter}; {pitch(frequency_hz)} at {level_dbfs:g} dBFS; inputs by cables from the outputs"
    )


def _show(
    link: "PortAudioLink",
    channels: "Sequence[CalibratedChannel]",
    found: "LoopBack",
    *,
    as_json: bool,
) -> None:
    missing = sorted(
        set(range(1, link.inputs + 1)) - {c.channel for c in channels if c.side == "in"}
    )
    if as_json:
        print(json.dumps({
            "name": link.interface.name, "host_api": link.interface.host_api,
            "channels": [asdict(one) for one in channels], "uncalibrated_inputs": missing,
            "faults": found.faults,
        }, allow_nan=False))  # fmt: skip
        return
    for one in channels:
        side = "output" if one.side == "out" else "input"
        print(f"{side} {one.channel}: full scale is {one.full_scale_dbu:+.2f} dBu")
    if missing:
        listed = ", ".join(map(str, missing))
        print(f"Not calibrated, since no cable of a calibrated output leads there: input {listed}.")
    for fault in found.faults:
        print(fault)
    print("Kept in the book; name the interface when a line-up is begun.")
