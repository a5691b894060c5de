"""Where the bench keeps what is a person's own, and how a book is named."""

import socket
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from fluxbench.book import Place

BookAt = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="FILE|URL",
        help="The book, a file or postgresql://USER@HOST/DATABASE; "
        "one in the user's data folder if left out.",
    ),
]


def default_book() -> Path:
    """The book of whoever names none."""
    return _data() / "book.db"


def book_at(named: str | None) -> "Place":
    """The book that is named, or that of whoever names none; MisuseError."""
    from fluxbench.book import place_of

    return default_book() if named is None else place_of(named)


def bench_of(place: "Place", named: str | None) -> str | None:
    """What this bench is called in a book that several share; MisuseError.

    The machine's name if none is given: it outlives a restart, so that a line-up that was
    interrupted is found again. In a file, which one bench has for itself, there are no names.
    """
    from fluxbench.base import MisuseError

    if isinstance(place, Path):
        if named is not None:
            raise MisuseError("--bench is for a book that several share, at postgresql://...")
        return None
    bench = socket.gethostname() if named is None else named
    if not (0 < len(bench) <= 64 and bench.isprintable() and bench.strip() == bench):
        raise MisuseError("--bench is a name of 1 to 64 characters, such as 'room 1'")
    return bench


def files_beside(place: "Place", bench: str | None) -> Path:
    """What the files are called that belong to a book: a path of which their names begin.

    A book on a server has none beside it; they are in the user's data folder, by bench.
    """
    from hashlib import sha256

    if isinstance(place, Path):
        return place
    named = f"{place} {bench}".encode()
    folder = _data()
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"bench-{sha256(named).hexdigest()[:12]}"


def _data() -> Path:
    from platformdirs import user_data_path

    return user_data_path("fluxbench", appauthor=False)
