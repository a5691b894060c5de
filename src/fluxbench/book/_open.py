"""Opening a book: one bench at a time, the tables brought up to date, safe against power cuts."""

import os
import sqlite3
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect
from sqlalchemy.exc import DatabaseError

from fluxbench.base import BookError
from fluxbench.book._tables import HEAD

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


def reader_of(path: Path) -> Engine:
    """Connections that only read, beside a bench that may have the book open; `BookError`."""
    if not path.is_file():
        raise BookError(f"there is no book {path}; choose --book, or line a deck up first")
    address = path.absolute().as_uri() + "?mode=ro"
    engine = create_engine("sqlite://", creator=lambda: sqlite3.connect(address, uri=True))
    scripts = ScriptDirectory.from_config(_config())
    try:
        with engine.connect() as connection:
            now = MigrationContext.configure(connection).get_current_revision()
    except DatabaseError as error:
        engine.dispose()
        raise _unreadable(path, error) from None
    if now != scripts.get_current_head():
        engine.dispose()
        raise BookError(
            f"{path} is no book of this Fluxbench, or one of another version; choose --book, "
            "or have the bench open it once, which brings an older book up to date"
        )
    return engine


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that cannot write; transactions are said."""
    address = f"{path.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)


def revision_of(path: Path) -> str | None:
    """The version of a book's tables, None if it has none; the file is only looked at.

    BookError if there is no file, or one that is no book of ours.
    """
    if not path.is_file():
        raise BookError(f"there is no book {path}; choose --book, or line a deck up first")
    refuse_a_stranger(path)
    with closing(connect_to_read(path)) as connection:
        has = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'")
        if has.fetchone() is None:
            return None
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


def is_known(revision: str | None) -> bool:
    """Whether this Fluxbench knows the tables of a version."""
    scripts = ScriptDirectory.from_config(_config())
    return revision in {script.revision for script in scripts.walk_revisions()}


def made_at(path: Path, revision: str) -> None:
    """Bring the tables of a book up to a version, or make them, in one transaction."""
    engine = engine_for(path, writes=True)
    try:
        upgrade(engine, path, revision)
    finally:
        engine.dispose()


def refuse_a_stranger(path: Path) -> None:
    """Look at what is there without touching it; BookError for what is no book of ours.

    Opening it as a book would write already: the journal mode is kept in the file.
    """
    if not path.is_file() or path.stat().st_size == 0:
        return
    # Only after a crash is there something to be undone before it can be read.
    for mode in ("ro", "rw"):
        address = f"{path.absolute().as_uri()}?mode={mode}"
        engine = create_engine("sqlite://", creator=partial(sqlite3.connect, address, uri=True))
        try:
            with engine.connect() as connection:
                _revision_of(connection, path)
            return
        except DatabaseError as error:
            if mode == "rw" or "readonly" not in str(error.orig):
                raise _unreadable(path, error) from None
        finally:
            engine.dispose()


def upgrade(engine: Engine, path: Path, revision: str = HEAD) -> None:
    """Bring the tables up to date in one transaction; BookError for what is no book of ours."""
    config = _config()
    try:
        with engine.begin() as connection:
            now = _revision_of(connection, path)
            if now != revision:
                config.attributes["connection"] = connection
                command.upgrade(config, revision)
    except DatabaseError as error:
        raise _unreadable(path, error) from None


def _revision_of(connection: Connection, path: Path) -> str | None:
    now = MigrationContext.configure(connection).get_current_revision()
    tables = set(inspect(connection).get_table_names())
    if tables and (now is None or not {"lineups", "journal"} <= tables):
        raise BookError(f"{path} is a database, but no book of Fluxbench; choose --book")
    if now is not None and not is_known(now):
        raise BookError(
            f"the book {path} was written by a newer Fluxbench; use that one, "
            "or choose another --book"
        )
    return now


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


def _unreadable(path: Path, error: DatabaseError) -> BookError:
    reason = " ".join(str(error.orig).split())
    advice = "is the disk full? If not, choose --book" if "disk" in reason else "choose --book"
    return BookError(f"the book {path} cannot be opened ({reason}); {advice}")
