"""`fluxbench label` and `fluxbench track-sheet`: papers of a reel."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fluxbench.cli._data import BookAt, book_at

if TYPE_CHECKING:
    from fluxbench.sheets import Card

MOST_BYTES = 1_000_000

File = Annotated[
    Path | None, typer.Argument(help="What is known of the reel, in TOML or JSON; none is needed.")
]
Reel = Annotated[str | None, typer.Option("--reel-id", help="A reel in the book, by its id.")]
Lineup = Annotated[
    str | None, typer.Option(help="A reel recorded after this line-up; newest for the newest one.")
]
Title = Annotated[str | None, typer.Option(help="The reel's title.")]
Artist = Annotated[str | None, typer.Option(help="Who plays.")]
Client = Annotated[str | None, typer.Option(help="Who has it made.")]
Date = Annotated[str | None, typer.Option(help="When it was recorded.")]
Number = Annotated[str | None, typer.Option("--reel", help="Which reel, as in '2 of 5'.")]
Tracks = Annotated[int | None, typer.Option(help="How many tracks, 1 to 24.")]
Names = Annotated[list[str] | None, typer.Option("--track", help="A track's name; in order.")]
Wound = Annotated[str | None, typer.Option(help="'tails out' or 'heads out'.")]
Diameter = Annotated[float | None, typer.Option(help="The reel in inches: 7 or 10.5.")]
Paper = Annotated[str, typer.Option(help="The paper: a4 or letter.")]
Address = Annotated[
    str, typer.Option(help="A bench's address on the local network, for the printed code.")
]
Out = Annotated[Path | None, typer.Option(help="The PDF file to write; named after the reel.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Write over a file that is there.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on one line, nothing else.")]


def label(
    file: File = None,
    title: Title = None,
    artist: Artist = None,
    client: Client = None,
    date: Date = None,
    reel: Number = None,
    tracks: Tracks = None,
    track: Names = None,
    wound: Wound = None,
    diameter: Diameter = None,
    reel_id: Reel = None,
    lineup: Lineup = None,
    paper: Paper = "a4",
    address: Address = "",
    book: BookAt = None,
    out: Out = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Print box label and spine of a reel to a PDF file, at their size, with crop marks."""
    from fluxbench import __version__
    from fluxbench.sheets import label_pdf

    told = {
        "title": title, "artist": artist, "client": client, "date": date, "reel": reel,
        "tracks": tracks, "track_names": track, "wound": wound, "reel_diameter_in": diameter,
    }  # fmt: skip
    card = _card(file, reel_id, lineup, book, told)
    pdf = label_pdf(card, __version__, paper, address)
    _write("label", card, pdf, out, overwrite, as_json)


def track_sheet(
    file: File = None,
    title: Title = None,
    artist: Artist = None,
    client: Client = None,
    date: Date = None,
    reel: Number = None,
    tracks: Tracks = None,
    track: Names = None,
    wound: Wound = None,
    reel_id: Reel = None,
    lineup: Lineup = None,
    paper: Paper = "a4",
    address: Address = "",
    book: BookAt = None,
    out: Out = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Print the track sheet of a reel to a PDF file, with lines to write on."""
    from fluxbench import __version__
    from fluxbench.sheets import track_sheet_pdf

    told = {
        "title": title, "artist": artist, "client": client, "date": date, "reel": reel,
        "tracks": tracks, "track_names": track, "wound": wound,
    }  # fmt: skip
    card = _card(file, reel_id, lineup, book, told)
    pdf = track_sheet_pdf(card, __version__, paper, address)
    _write("track-sheet", card, pdf, out, overwrite, as_json)


def _card(
    file: Path | None,
    reel_id: str | None,
    lineup: str | None,
    book: str | None,
    told: Mapping[str, Any],
) -> "Card":
    """From the book what it knows, over it the file, over both the options."""
    from fluxbench.base import MisuseError
    from fluxbench.sheets import card_of, told_otherwise

    if reel_id is not None and lineup is not None:
        raise MisuseError("--reel-id and --lineup are two sources; give one of them")
    known = None
    if reel_id is not None or lineup is not None:
        known = _from_book(reel_id, lineup, book)
    in_file = {} if file is None else _read(file)
    given = {name: value for name, value in told.items() if value is not None}
    facts = {**in_file, **given}
    return card_of(facts) if known is None else told_otherwise(known, facts)


def _from_book(reel_id: str | None, lineup: str | None, book: str | None) -> "Card":
    from fluxbench.book import Records
    from fluxbench.sheets import card_of_lineup, card_of_reel, contents_of

    records = Records(book_at(book))
    try:
        if reel_id is not None:
            return card_of_reel(records, reel_id)
        return card_of_lineup(contents_of(records, None if lineup == "newest" else lineup))
    finally:
        records.close()


def _read(file: Path) -> dict[str, Any]:
    import tomllib

    from fluxbench.base import MisuseError

    try:
        with file.open("rb") as opened:
            text = opened.read(MOST_BYTES + 1).decode()
    except OSError as error:
        raise MisuseError(f"{file} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise MisuseError(f"{file} is no text; give a TOML or JSON file") from None
    if len(text) > MOST_BYTES:
        raise MisuseError(f"{file} is too long for a reel; give a TOML or JSON file")
    try:
        facts = json.loads(text) if file.suffix.lower() == ".json" else tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise MisuseError(f"{file} is neither TOML nor, named .json, JSON: {reason}") from None
    if not isinstance(facts, dict):
        raise MisuseError(f"{file} holds no names with values; give a reel's facts by their names")
    return facts


def _write(
    what: str, card: "Card", pdf: bytes, out: Path | None, overwrite: bool, as_json: bool
) -> None:
    from fluxbench.cli._sheet import write_pdf
    from fluxbench.sheets import label_file_name, pages_of

    file = Path(label_file_name(card, what)) if out is None else out
    write_pdf(file, pdf, overwrite)
    pages = pages_of(pdf)
    if as_json:
        print(json.dumps({"file": str(file), "pages": pages, "tracks": card.tracks}))
    else:
        print(f"{file}: {pages} page{'s' * (pages > 1)}; print at full size")
