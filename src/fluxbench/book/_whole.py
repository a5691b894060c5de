"""The file of a book as a whole: read, copied, checked, put in its place at once."""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from fluxbench.base import BookError, MisuseError
from fluxbench.book._open import (
    Lock,
    connect_to_read,
    is_known,
    keep_names,
    made_at,
    make_folder,
    revision_of,
)
from fluxbench.book._tables import HEAD


def read_only(book: Path) -> sqlite3.Connection:
    """A connection that cannot write, to a book of this version; BookError for anything else."""
    revision = revision_of(book)
    if revision != HEAD:
        raise BookError(f"{book} is of another version; bring it up to date with book upgrade")
    return connect_to_read(book)


@contextmanager
def new_file(place: Path, *, overwrite: bool) -> Iterator[Path]:
    """A file beside a place, to be filled and put there; gone if that does not come to pass."""
    if place.exists() and not overwrite:
        raise MisuseError(f"{place} is there already; give another one, or --overwrite")
    try:
        number, name = tempfile.mkstemp(prefix=f".{place.name}.", suffix=".part", dir=place.parent)
    except OSError as error:
        raise MisuseError(f"{place} cannot be written ({error.strerror})") from None
    os.close(number)
    part = Path(name)
    try:
        yield part
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            with suppress(FileNotFoundError):
                part.with_name(part.name + suffix).unlink()


def put_in_place(part: Path, place: Path, *, overwrite: bool) -> None:
    """Give a finished file its name, all at once and for good; MisuseError if one came between."""
    with part.open("rb+") as finished:
        os.fsync(finished.fileno())
    part.chmod(0o644)
    try:
        if overwrite:
            part.replace(place)
        else:
            _link(part, place)
    except FileExistsError:
        raise MisuseError(f"{place} is there already; give another one") from None
    except OSError as error:
        raise MisuseError(f"{place} cannot be written ({error.strerror})") from None
    keep_names(place.parent)


def _link(part: Path, place: Path) -> None:
    """Give a file a name that is free."""
    try:
        os.link(part, place)
    except FileExistsError:
        raise
    except OSError:  # a stick, perhaps, whose file system has no second names
        if place.exists():
            raise FileExistsError from None
        part.replace(place)


def backup(book: Path, out: Path, *, overwrite: bool) -> int:
    """Copy a book while a bench may write to it, check the copy, and put it in its place.

    Its number of line-ups. BookError if book or copy are not sound, MisuseError for the file.
    """
    if out.absolute() == book.absolute():
        raise MisuseError("a backup goes to another file than the book")
    with new_file(out, overwrite=overwrite) as part:
        with closing(read_only(book)) as source:
            _copy(source, part, book)
        count = checked(part, book)
        put_in_place(part, out, overwrite=overwrite)
    return count


def _copy(source: sqlite3.Connection, part: Path, book: Path) -> None:
    try:
        with closing(sqlite3.connect(part, isolation_level=None)) as copy:
            source.backup(copy)  # in one step: one state, and writers need not wait
            copy.execute("PRAGMA journal_mode=DELETE")  # all of it in one file
    except sqlite3.DatabaseError as error:
        raise BookError(f"{book} cannot be copied ({error}); nothing was changed") from None


def checked(copy: Path, named: Path) -> int:
    """The line-ups of a copy that is sound; BookError if it is not."""
    try:
        with closing(connect_to_read(copy)) as read:
            sound = read.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok"
            whole = read.execute("PRAGMA foreign_key_check").fetchone() is None
            count = int(read.execute("SELECT count(*) FROM lineups").fetchone()[0])
    except sqlite3.DatabaseError as error:
        raise BookError(f"{named} is damaged ({error}); nothing was changed") from None
    if not (sound and whole):
        raise BookError(f"{named} is damaged; nothing was changed")
    return count


def restore(file: Path, book: Path, *, overwrite: bool) -> int:
    """Put a backup, of this or an older version, in the place of a book; its line-ups.

    MisuseError if there is a book and `overwrite` is not said, BookError if a bench has it open
    or the backup is not sound; then nothing is changed.
    """
    if revision_of(file) is None:
        raise BookError(f"{file} is empty, and no backup of a book")
    if file.absolute() == book.absolute():
        raise MisuseError("a backup is another file than the book")
    make_folder(book.parent)
    with new_file(book, overwrite=overwrite) as part:
        lock = Lock(book)
        try:
            with closing(connect_to_read(file)) as source:
                _copy(source, part, file)
            count = checked(part, file)
            made_at(part, HEAD)
            _end_journal(book)
            put_in_place(part, book, overwrite=overwrite)
        finally:
            lock.release()
    return count


def _end_journal(book: Path) -> None:
    """Let no write-ahead log of the old book be taken for one of the new."""
    if not book.exists():
        return
    with suppress(sqlite3.DatabaseError), closing(sqlite3.connect(book)) as old:
        old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for suffix in ("-wal", "-shm"):
        left = book.with_name(book.name + suffix)
        if left.exists():
            left.rename(book.with_name(f"{book.name}.old{suffix}"))


def upgrade(book: Path) -> tuple[str, str, Path | None]:
    """Bring a book up to date: from, to, and the backup that was made first if it was needed."""
    from fluxbench.book._book import Book  # which opens by these very functions

    before, kept = revision_of(book) or "empty", None
    if is_known(before) and before != HEAD:
        kept = book.with_name(f"{book.name}.before-{HEAD}")
        with new_file(kept, overwrite=False) as part:
            with closing(connect_to_read(book)) as source:
                _copy(source, part, book)
            checked(part, book)
            put_in_place(part, kept, overwrite=False)
    Book(book).close()
    return before, HEAD, kept
