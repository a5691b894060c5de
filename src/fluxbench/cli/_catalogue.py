"""`fluxbench catalogue`: an archive of captures measured, judged, and told what to do about it."""

import json
import sys
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fluxbench.cli._data import book_at

if TYPE_CHECKING:
    from fluxbench.captures.catalogue import Declared, Entry, InBook

Scheduler = Annotated[
    str | None,
    typer.Option(help="Dask scheduler whose workers measure: HOST:PORT, one that you trust."),
]
KeptIn = Annotated[
    str | None,
    typer.Option(metavar="FILE|URL", help="A book to keep what was found in, as captures."),
]


def catalogue(
    places: Annotated[
        list[str],
        typer.Argument(metavar="DIR...", help="Folders and captures; - reads a list, one a line."),
    ],
    to: Annotated[Path, typer.Option(help="Folder for table, lines, page and journal.")] = Path(
        "catalogue"
    ),
    speed: Annotated[
        float | None, typer.Option(help="Speed in in/s that the reels were recorded at.")
    ] = None,
    played: Annotated[
        str | None,
        typer.Option(help="Equalisation they were played with: 3180/50, inf/35, or a name."),
    ] = None,
    level: Annotated[
        float | None, typer.Option(help="Level in dBFS that the reference tone should have.")
    ] = None,
    speed_tone: Annotated[
        float | None, typer.Option(help="Frequency in Hz of a tone that proves speed.")
    ] = None,
    layout: Annotated[
        str | None, typer.Option("--format", help="Track format, for azimuth as an angle.")
    ] = None,
    chain: Annotated[
        str | None,
        typer.Option(help="Calibration of the chain: 320@-18 if 320 nWb/m reads -18 dBFS."),
    ] = None,
    workers: Annotated[
        int, typer.Option(min=0, max=512, help="Processes that measure; 0: one a core.")
    ] = 0,
    scheduler: Scheduler = None,
    remedy: Annotated[
        Path | None,
        typer.Option(help="Folder for corrected copies of what can be put right in a file."),
    ] = None,
    book: KeptIn = None,
    retry: Annotated[
        bool, typer.Option("--retry", help="Measure anew what was set aside before.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line and capture, nothing else.")
    ] = False,
) -> None:
    """Measure all captures below folders, judge each, and write what to do about it.

    What is measured stands in a journal beside the results: a run that was ended goes on where it
    was. No capture is changed: --remedy writes copies.
    """
    from fluxbench.base import MisuseError
    from fluxbench.captures.catalogue import ClusterCrew, InBook, LocalCrew, Remedy
    from fluxbench.captures.catalogue import catalogue as run
    from fluxbench.cli._catalogue_shown import Progress, print_done

    declared = _declared(speed, played, level, speed_tone, layout, chain)
    named = _places(places)
    if scheduler is not None and workers:
        raise MisuseError("--workers is for this machine; a scheduler has workers of its own")
    corrected = Remedy(remedy, tuple(named)) if remedy is not None else None
    with ExitStack() as stack:
        progress = stack.enter_context(Progress(quiet=as_json))
        kept = None if book is None else stack.enter_context(InBook(book_at(book)))
        try:
            with LocalCrew(workers) if scheduler is None else ClusterCrew(scheduler, named) as crew:
                done = run(
                    named,
                    to,
                    lambda path: declared,
                    crew,
                    remedy=corrected,
                    left_out=[str(remedy)] if remedy is not None else [],
                    retry=retry,
                    begun=progress.begun,
                    told=progress.told,
                    entered=partial(_entered, kept, as_json),
                )
        except KeyboardInterrupt:
            progress.close()
            _say(f"{progress.known} captures are known; the same command goes on from there")
            raise
    if not as_json:
        print_done(done, to)
        if kept is not None:
            print(f"{book_at(book)}: {kept.written} captures written, the others are there just so")


def _entered(kept: "InBook | None", as_json: bool, entry: "Entry") -> None:
    from fluxbench.captures.catalogue import object_of

    if kept is not None:
        kept.add(entry)
    if as_json:
        print(json.dumps(object_of(entry), allow_nan=False), flush=True)


def _places(places: list[str]) -> list[str]:
    """The places, with those of standard input where - stands."""
    named: list[str] = []
    for place in places:
        named += (
            [line for line in sys.stdin.read().splitlines() if line] if place == "-" else [place]
        )
    return named


def _declared(
    speed_ips: float | None,
    played: str | None,
    level_dbfs: float | None,
    speed_tone_hz: float | None,
    layout: str | None,
    chain: str | None,
) -> "Declared":
    from fluxbench.captures.catalogue import Declared, chain_of, equalisation_of
    from fluxbench.cli._answers import check_between
    from fluxbench.trade import format_named, standard_for

    if speed_ips is not None:
        standard_for(speed_ips)  # refuses speeds that there are not
    if level_dbfs is not None:
        check_between("--level", level_dbfs, -80.0, 0.0)
    if speed_tone_hz is not None:
        check_between("--speed-tone", speed_tone_hz, 20.0, 20_000.0)
    return Declared(
        speed_ips,
        equalisation_of(played, speed_ips) if played is not None else None,
        level_dbfs,
        speed_tone_hz,
        format_named(layout) if layout is not None else None,
        chain_of(chain) if chain is not None else None,
    )


def _say(message: str) -> None:
    print(f"fluxbench: {message}", file=sys.stderr, flush=True)
