"""`fluxbench book demo`: an invented studio to look at."""

from pathlib import Path
from typing import Annotated

import typer


def demo(
    file: Annotated[Path, typer.Argument(help="The book to write; it must not be there yet.")],
    seed: Annotated[int, typer.Option(min=0, help="Another seed, other readings.")] = 1,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on one line, nothing else.")
    ] = False,
) -> None:
    """Write a book of an invented studio: three decks, two years of line-ups."""
    import json

    from fluxbench.rehearsal import write_demo_book

    lineups = write_demo_book(file, seed)
    if as_json:
        print(json.dumps({"file": str(file), "lineups": lineups}))
    else:
        print(f"{file}: {lineups} line-ups of three decks; fluxbench serve --book {file} shows it")
