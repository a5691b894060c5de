"""A book in a SQLite file: one bench at a time, safe against power cuts."""

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event

from fluxbench.base import BookError

BUSY_MS = 300
"""Whoever writes tries again: nothing else may wait for the book."""


def make_folder(folder: Path) -> None:
    """Make a folder and what is lacking above it; BookError. See `keep_names`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"{folder} cannot be made ({error.strerror})") from None


def keep_names(folder: Path) -> None:
    """Have the disk know what a folder holds, and each folder above that could be new; BookError.

    SQLite does it for a new write-ahead log, but takes no notice when it fails: a power cut then
    loses the log, and everything that was committed to it. Nobody does it for folders that were
    made, now or before a failure.
    """
    folder = folder.absolute()
    for place in (folder, *folder.parents):
        if place != folder and not os.access(place, os.W_OK):
            return
        try:
            opened = os.open(place, os.O_RDONLY)
            try:
                os.fsync(opened)
            finally:
                os.close(opened)
        except OSError as error:
            raise BookError(f"the disk fails at {place} ({error.strerror}); see to it") from None


class Lock:
    """A file beside the book that one process at a time can hold; it ends with the process."""

    def __init__(self, book: Path) -> None:
        import fcntl  # not there on every system, needed only by whoever opens a book

        path = book.with_name(book.name + ".lock")
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise BookError(f"{path} cannot be written ({error.strerror}); choose --book") from None
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = os.read(self._file, 32).decode(errors="replace").strip() or "unknown"
            os.close(self._file)
            raise BookError(
                f"the book {book} is in use by another bench (process {holder}); "
                "end that one, or give this one a book of its own with --book"
            ) from None
        try:
            os.ftruncate(self._file, 0)
            os.pwrite(self._file, str(os.getpid()).encode(), 0)
        except OSError as error:
            self.release()
            raise BookError(
                f"{path} cannot be written ({error.strerror}); see to the disk, or choose --book"
            ) from None

    def release(self) -> None:
        """Let another bench have the book."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


def engine_for(path: Path, *, writes: bool) -> Engine:
    """A pool of connections to a SQLite book; a writing transaction is one from its first line."""
    engine = create_engine(URL.create("sqlite", database=str(path)))

    @event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # BEGIN and COMMIT are said in one place only, below
        cursor = connection.cursor()
        for pragma in (
            "journal_mode=WAL", "synchronous=FULL", "fullfsync=ON", "foreign_keys=ON",
            f"busy_timeout={BUSY_MS}",
        ):  # fmt: skip
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def reader_for(path: Path) -> Engine:
    """Connections that only read, beside a bench that may have the book open; `BookError`."""
    if not path.is_file():
        raise BookError(f"there is no book {path}; choose --book, or line a deck up first")
    address = path.absolute().as_uri() + "?mode=ro"
    return create_engine("sqlite://", creator=lambda: sqlite3.connect(address, uri=True))


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that cannot write; transactions are said."""
    address = f"{path.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)
