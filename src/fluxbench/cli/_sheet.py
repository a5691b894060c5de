"""`fluxbench sheet`: a line-up on paper."""

import json
from pathlib import Path
from typing import Annotated

import typer

from fluxbench.cli._data import BookAt, book_at


def sheet(
    lineup: Annotated[
        str | None, typer.Argument(help="The line-up by its name; the newest one if left out.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="The PDF file to write; one named after the line-up if left out."),
    ] = None,
    paper: Annotated[str, typer.Option(help="The paper: a4 or letter.")] = "a4",
    address: Annotated[
        str, typer.Option(help="A bench's address on the local network, for the printed code.")
    ] = "",
    book: BookAt = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Write over a file that is there.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on one line, nothing else.")
    ] = False,
) -> None:
    """Print the sheet of a line-up to a PDF file, also while the bench runs."""
    from fluxbench import __version__
    from fluxbench.book import Records
    from fluxbench.sheets import contents_of, file_name, pages_of, sheet_pdf

    records = Records(book_at(book))
    try:
        contents = contents_of(records, lineup)
    finally:
        records.close()
    file = Path(file_name(contents)) if out is None else out
    pdf = sheet_pdf(contents, __version__, paper, address)
    write_pdf(file, pdf, overwrite)
    pages = pages_of(pdf)
    if as_json:
        print(json.dumps({"lineup": contents.lineup, "file": str(file), "pages": pages}))
    else:
        print(f"{file}: line-up {contents.lineup}, {pages} page{'s' * (pages > 1)}")


def write_pdf(file: Path, pdf: bytes, overwrite: bool) -> None:
    """Write a file; MisuseError if it is there already and not to be written over, or cannot be."""
    from fluxbench.base import MisuseError

    try:
        with file.open("wb" if overwrite else "xb") as written:
            written.write(pdf)
    except FileExistsError:
        raise MisuseError(f"{file} is there already; give another --out, or --overwrite") from None
    except OSError as error:
        raise MisuseError(f"{file} cannot be written: {error.strerror}") from None
