"""`fluxbench tones`: the line-up tones of a reel as a Broadcast Wave file."""

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fluxbench.cli._interface_named import HostApi

if TYPE_CHECKING:
    from fluxbench.captures import BroadcastExtension, WaveFormat
    from fluxbench.trade import LineUpTone

LONGEST_S = 600.0
RATES_HZ = (8_000, 192_000)
LOWEST_ZERO_VU_DBFS = -40.0
CAUTION = (
    "Before it is played: monitors and headphones down; 0 VU of the interface right;"
    " whatever the reel holds under the tones is recorded over."
)


def tones(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE.wav", help="The Broadcast Wave file to write.")
    ] = None,
    *,
    speed: Annotated[float, typer.Option(help="Inches per second: 30, 15, 7.5 or 3.75.")],
    seconds: Annotated[
        float, typer.Option(help="How long each tone lasts; 30 s is the least in practice.")
    ] = 30.0,
    zero_vu: Annotated[
        float, typer.Option(help="Level in dBFS of a sine that reads 0 VU on the deck.")
    ] = -16.0,
    rate: Annotated[int, typer.Option(help="Sample rate in Hz.")] = 48_000,
    bits: Annotated[int, typer.Option(help="Bits of a sample: 16 or 24.")] = 24,
    tracks: Annotated[
        int, typer.Option(min=1, max=64, help="Tracks of the file, all of them alike.")
    ] = 1,
    slate: Annotated[
        bool, typer.Option("--slate/--no-slate", help="Count each tone out by pips before it.")
    ] = True,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is there.")
    ] = False,
    interface: Annotated[
        str | None, typer.Option(help="Play to this sound interface instead of writing a file.")
    ] = None,
    host_api: HostApi = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="With --interface: do not ask before tones are sent.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line and tone, nothing else.")
    ] = False,
) -> None:
    """Write the line-up tones of a speed to a file, or play them, for the head of a reel."""
    from fluxbench.base import MisuseError
    from fluxbench.cli._answers import check_between
    from fluxbench.trade import line_up_tones

    check_between("--seconds", seconds, 1.0, LONGEST_S)
    check_between("--zero-vu", zero_vu, LOWEST_ZERO_VU_DBFS, 0.0)
    check_between("--rate", rate, *RATES_HZ)
    printed = line_up_tones(speed, seconds)
    if (file is None) == (interface is None):
        raise MisuseError("say where the tones go: a FILE.wav, or --interface NAME")
    if interface is not None:
        if as_json or replace:
            raise MisuseError("--json and --replace are for a file; leave them out")
        _play((interface, host_api), printed, zero_vu, slate=slate, yes=yes)
    elif host_api is not None:
        raise MisuseError("--host-api alone names no interface; give --interface as well")
    elif file is not None:
        _check_file(file, printed, rate)
        _write(file, printed, speed, zero_vu, rate, bits, tracks, slate, replace, as_json)


def _play(
    named: tuple[str, str | None],
    printed: "Sequence[LineUpTone]",
    zero_vu: float,
    *,
    slate: bool,
    yes: bool,
) -> None:
    """To the interface of that name and host API, if that is told."""
    from fluxbench.cli._tones_played import agreed, play
    from fluxbench.links import PortAudioLink
    from fluxbench.signals import PassageSender, line_up_passages

    passages = line_up_passages(printed, zero_vu, slated=slate)
    agreed(CAUTION, yes=yes)
    interface, host_api = named
    link = PortAudioLink(interface, host_api=host_api)
    try:
        sender = PassageSender(passages, link.rate_hz, link.outputs)
        play(link, sender, printed, lambda line: typer.echo(line))
    finally:
        link.close()


def _write(
    file: Path,
    printed: "Sequence[LineUpTone]",
    speed: float,
    zero_vu: float,
    rate: int,
    bits: int,
    tracks: int,
    slate: bool,
    replace: bool,
    as_json: bool,
) -> None:
    from fluxbench.captures import WaveFormat, write_wave
    from fluxbench.signals import PassageSender, line_up_passages

    passages = line_up_passages(printed, zero_vu, slated=slate)
    sender = PassageSender(passages, rate, tracks)
    form = WaveFormat(rate, bits, tracks, sender.frames)
    broadcast = _broadcast(form, printed, speed, zero_vu)
    write_wave(file, form, broadcast, sender.blocks(), replace=replace)
    rows = [
        {
            "number": passage.number,
            "frequency_hz": tone.frequency_hz,
            "level_db": tone.level_db,
            "level_dbfs": zero_vu + tone.level_db,
            "start_s": first / rate,
            "end_s": end / rate,
        }
        for passage, (first, end) in zip(passages, sender.spans, strict=True)
        if passage.number
        for tone in (printed[passage.number - 1],)
    ]
    if as_json:
        for row in rows:
            print(json.dumps(row, allow_nan=False))
        return
    _print_table(rows, f"Line-up tones for {speed:g} in/s")
    length_s = round(form.frames / rate)
    print(
        f"{file}: {length_s // 60} min {length_s % 60} s, {rate} Hz, {bits} bit,"
        f" {_counted(tracks)}; 0 VU is {zero_vu:g} dBFS"
    )
    print(CAUTION)


def _check_file(file: Path, printed: "Sequence[LineUpTone]", rate_hz: int) -> None:
    from fluxbench.base import MisuseError
    from fluxbench.trade import pitch

    if file.suffix.lower() != ".wav":
        raise MisuseError(f"{file} would be no name for a Broadcast Wave file; end it in .wav")
    highest_hz = max(tone.frequency_hz for tone in printed)
    if not highest_hz < rate_hz / 2:
        raise MisuseError(
            f"a tone of {pitch(highest_hz)} cannot be sent at --rate {rate_hz};"
            f" give one above {2 * highest_hz:g}"
        )


def _broadcast(
    form: "WaveFormat", printed: "Sequence[LineUpTone]", speed_ips: float, zero_vu_dbfs: float
) -> "BroadcastExtension":
    """Who made the file, when, what of; the words of its coding history have no commas (R98)."""
    from fluxbench import __version__
    from fluxbench.captures import BroadcastExtension
    from fluxbench.trade import pitch

    now = datetime.now().astimezone()
    told = ", ".join(f"{pitch(tone.frequency_hz)} {tone.level_db:g} dB" for tone in printed)
    text = f"Fluxbench {__version__}; line-up tones {speed_ips:g} in/s; rounded without dither"
    if form.tracks > 2:
        text += f"; {form.tracks} tracks alike"
    return BroadcastExtension(
        description=(
            f"Line-up tones for {speed_ips:g} in/s, all tracks alike: {told} re 0 VU;"
            f" 0 VU is {zero_vu_dbfs:g} dBFS"
        ),
        originator="Fluxbench",
        origination_date=f"{now:%Y-%m-%d}",
        origination_time=f"{now:%H-%M-%S}",
        coding_history=(
            {
                "A": "PCM",
                "F": f"{form.rate_hz}",
                "W": f"{form.bits}",
                "M": "dual-mono" if form.tracks == 2 else "mono",
                "T": text,
            },
        ),
    )


def _print_table(rows: "Sequence[dict[str, float]]", title: str) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title)
    for name in ("tone", "Hz", "dB re 0 VU", "dBFS", "from s", "to s"):
        table.add_column(name, justify="right")
    for row in rows:
        table.add_row(
            f"{row['number']}",
            f"{row['frequency_hz']:g}",
            f"{row['level_db']:g}",
            f"{row['level_dbfs']:g}",
            f"{row['start_s']:.2f}",
            f"{row['end_s']:.2f}",
        )
    Console().print(table)


def _counted(tracks: int) -> str:
    return f"{tracks} track{'s' * (tracks > 1)}"
