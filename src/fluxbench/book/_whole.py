"""A book as a whole: made, copied, checked, put in its place at once.

Copies are of files. Whoever has a server has tools for that, which know more of it.
"""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, inspect

from fluxbench.base import BookError, MisuseError
from fluxbench.book._file import Lock, connect_to_read, keep_names, make_folder
from fluxbench.book._open import engine_for, is_known, made_at, revision_of
from fluxbench.book._place import Place, Server
from fluxbench.book._tables import HEAD


def read_only(book: Path) -> sqlite3.Connection:
    """A connection that cannot write, to a book of this version; BookError for anything else."""
    refuse_another_version(book)
    return connect_to_read(book)


def refuse_another_version(book: Place) -> None:
    """BookError for a book that is not of this version, or none."""
    if revision_of(book) != HEAD:
        raise BookError(f"{book} is of another version; bring it up to date with book upgrade")


@contextmanager
def new_book(place: Place) -> Iterator[Connection]:
    """One transaction in which a book is made; nothing is there if that does not come to pass.

    MisuseError if there is one already, BookError for a server that cannot be had.
    """
    if isinstance(place, Server):
        with _in_a_transaction(place) as connection:
            if inspect(connection).get_table_names():
                raise MisuseError(f"{place} holds tables already; give an empty database")
            yield connection
        return
    make_folder(place.parent)
    with new_file(place, overwrite=False) as part:
        with _in_a_transaction(part) as connection:
            yield connection
        put_in_place(part, place, overwrite=False)


@contextmanager
def _in_a_transaction(place: Place) -> Iterator[Connection]:
    engine = engine_for(place, writes=True)
    try:
        with engine.execution_options(patient=True).begin() as connection:
            yield connection
    finally:
        engine.dispose()


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


def _file_of(book: Place) -> Path:
    if isinstance(book, Server):
        raise MisuseError(
            f"{book} is copied and put back with the tools of its server (pg_dump, pg_restore); "
            "book export and book import work with it"
        )
    return book


def backup(book: Place, out: Path, *, overwrite: bool) -> int:
    """Copy a book while a bench may write to it, check the copy, and put it in its place.

    Its number of line-ups. BookError if book or copy are not sound, MisuseError for the file and
    for a book on a server.
    """
    book = _file_of(book)
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


def restore(file: Path, book: Place, *, overwrite: bool) -> int:
    """Put a backup, of this or an older version, in the place of a book; its line-ups.

    MisuseError if there is a book and `overwrite` is not said, BookError if a bench has it open
    or the backup is not sound; then nothing is changed.
    """
    book = _file_of(book)
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


def upgrade(book: Place) -> tuple[str, str, Path | None]:
    """Bring a book up to date: from, to, and the backup that was made first if it was needed.

    Of a book on a server none is made.
    """
    from fluxbench.book._book import Book  # which opens by these very functions

    before, kept = revision_of(book) or "empty", None
    if isinstance(book, Path) and is_known(before) and before != HEAD:
        kept = book.with_name(f"{book.name}.before-{HEAD}")
        with new_file(kept, overwrite=False) as part:
            with closing(connect_to_read(book)) as source:
                _copy(source, part, book)
            checked(part, book)
            put_in_place(part, kept, overwrite=False)
    Book(book).close()
    return before, HEAD, kept
