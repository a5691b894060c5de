"""`fluxbench book`: the whole book out, in, copied, put back, brought up to date."""

import json
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from fluxbench.cli._data import BookAt, book_at
from fluxbench.cli._demo_book import demo

app = typer.Typer(add_completion=False, rich_markup_mode=None, no_args_is_help=True)
app.command("demo")(demo)

AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on one line, nothing else.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Write over a file that is there.")]


class Rows(StrEnum):
    """How the tables of an archive are written."""

    JSON = "json"
    CSV = "csv"


@app.callback()
def book_command() -> None:
    """Export, import, backup, restore or upgrade the book."""


@app.command("export")
def export_command(
    out: Annotated[Path, typer.Argument(help="The archive to write, a zip file.")],
    rows: Annotated[Rows, typer.Option("--as", help="Tables as JSON Lines or as CSV.")] = Rows.JSON,
    book: BookAt = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Write everything in the book to an archive, also while the bench runs."""
    from fluxbench.book import export

    told = export(book_at(book), out, rows.value, overwrite=overwrite)
    lineups, things = told.rows["lineups"], told.rows["things"]
    _tell(as_json, {"file": str(out), "rows": dict(told.rows)},
          f"{out}: {lineups} line-ups, {things} versions of things")  # fmt: skip


@app.command("import")
def import_command(
    archive: Annotated[Path, typer.Argument(help="An archive of `book export`.")],
    book: BookAt = None,
    as_json: AsJson = False,
) -> None:
    """Make a book of an archive; there must be none yet."""
    from fluxbench.book import import_archive

    told = import_archive(archive, book_at(book))
    _tell(as_json, {"book": str(told.place), "rows": dict(told.rows)},
          f"{told.place}: {told.rows.get('lineups', 0)} line-ups imported")  # fmt: skip


@app.command("backup")
def backup_command(
    out: Annotated[Path, typer.Argument(help="The copy to write.")],
    book: BookAt = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Copy the book, also while the bench runs, and check the copy."""
    from fluxbench.book import backup

    count = backup(book_at(book), out, overwrite=overwrite)
    _tell(as_json, {"file": str(out), "lineups": count},
          f"{out}: {count} line-ups, checked")  # fmt: skip


@app.command("restore")
def restore_command(
    file: Annotated[Path, typer.Argument(help="A copy of `book backup`.")],
    book: BookAt = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Put a copy in the place of the book; the bench must not run."""
    from fluxbench.book import restore

    place = book_at(book)
    count = restore(file, place, overwrite=overwrite)
    _tell(as_json, {"book": str(place), "lineups": count},
          f"{place}: {count} line-ups, from {file}")  # fmt: skip


@app.command("upgrade")
def upgrade_command(book: BookAt = None, as_json: AsJson = False) -> None:
    """Bring an older book up to date, with a copy of what it was beside it."""
    from fluxbench.book import upgrade

    place = book_at(book)
    before, after, kept = upgrade(place)
    facts = {"book": str(place), "from": before, "to": after,
             "copy": None if kept is None else str(kept)}  # fmt: skip
    was = f"from {before} to {after}; as it was: {kept}" if kept else f"is up to date ({after})"
    _tell(as_json, facts, f"{place}: {was}")


def _tell(as_json: bool, facts: Mapping[str, Any], sentence: str) -> None:
    print(json.dumps(facts) if as_json else sentence)
