"""`fluxbench read`: captures measured, each from its own samples."""

import json
import math
import re
import sys
from typing import Annotated

import typer

FAILURE, MISUSE = 1, 2


def read(
    files: Annotated[list[str], typer.Argument(metavar="FILE...", help="Captures to measure.")],
    tracks: Annotated[
        str | None, typer.Option(help="Only these tracks, such as 1,3-6; all if left out.")
    ] = None,
    from_s: Annotated[
        float, typer.Option("--from", help="Begin here, in seconds from the start of the file.")
    ] = 0.0,
    to_s: Annotated[
        float | None, typer.Option("--to", help="End here, in seconds from the start of the file.")
    ] = None,
    plot: Annotated[
        bool, typer.Option("--plot", help="Draw levels, responses and delays below the tables.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line and capture, nothing else.")
    ] = False,
) -> None:
    """Find the sections of captures and measure them: tones, multitones, sweeps and noise.

    A capture is a WAV, RF64, BW64, AIFF or FLAC file with one track a channel. One that cannot be
    read is a line on standard error; the others are still measured.
    """
    numbers = _track_numbers(tracks)
    until_s = math.inf if to_s is None else to_s
    _check_part(from_s, until_s)

    from fluxbench.base import FluxbenchError, MisuseError
    from fluxbench.captures import line_of, read_capture
    from fluxbench.cli._capture_shown import Progress, print_capture

    code = 0
    with Progress(quiet=as_json) as progress:
        for path in files:
            try:
                reading = read_capture(
                    path, tracks=numbers, from_s=from_s, to_s=until_s, told=progress.of(path)
                )
            except FluxbenchError as error:
                progress.pause()
                _say(str(error))
                code = max(code, MISUSE if isinstance(error, MisuseError) else FAILURE)
                continue
            progress.pause()
            if as_json:
                print(json.dumps(line_of(reading), allow_nan=False), flush=True)
            else:
                print_capture(reading, plot=plot)
    raise typer.Exit(code)


def _track_numbers(text: str | None) -> tuple[int, ...]:
    """Track numbers of a list such as 1,3-6; MisuseError if it is none."""
    from fluxbench.base import MisuseError

    if text is None:
        return ()
    numbers: list[int] = []
    for part in text.split(","):
        found = re.fullmatch(r"\s*(\d{1,3})(?:\s*-\s*(\d{1,3}))?\s*", part, re.ASCII)
        if found is None:
            raise MisuseError(f"--tracks {text} names no tracks; give numbers such as 1,3-6")
        first, last = int(found[1]), int(found[2] or found[1])
        if not 1 <= first <= last:
            raise MisuseError(f"--tracks {text}: tracks count upwards from 1, as in 1,3-6")
        numbers += range(first, last + 1)
    return tuple(sorted(set(numbers)))


def _check_part(from_s: float, to_s: float) -> None:
    from fluxbench.base import MisuseError

    if not 0.0 <= from_s < math.inf:
        raise MisuseError(f"--from {from_s:g} is no time; give seconds from 0 on")
    if not from_s < to_s:
        raise MisuseError(f"--to {to_s:g} is not after --from {from_s:g}; give a later time")


def _say(message: str) -> None:
    """Write one line on standard error, whatever a file's name holds."""
    plain = "".join(c if c.isprintable() or c == " " else "?" for c in message)
    print(f"fluxbench: {' '.join(plain.split())}", file=sys.stderr, flush=True)
