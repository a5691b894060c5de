"""Opening a book: one bench at a time, the tables brought up to date, safe against power cuts."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError

from fluxbench.base import BookError
from fluxbench.book._tables import HEAD

BUSY_MS = 300
"""Whoever writes tries again: nothing else may wait for the book."""


def make_folder(folder: Path) -> None:
    """Make a folder and what is lacking above it, and have the disk know them; BookError.

    SQLite syncs the folder that its files are in, but nobody the names of new folders above it.
    """
    folder = folder.absolute()
    if folder.is_dir():
        return
    make_folder(folder.parent)
    try:
        folder.mkdir(exist_ok=True)
        above = os.open(folder.parent, os.O_RDONLY)
        try:
            os.fsync(above)
        finally:
            os.close(above)
    except OSError as error:
        raise BookError(f"{folder} cannot be made ({error.strerror})") from None


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
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, str(os.getpid()).encode(), 0)

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
    if revision_of(path) != HEAD:
        raise BookError(
            f"{path} is no book of this Fluxbench, or one of another version; choose --book, "
            "or have the bench open it once, which brings an older book up to date"
        )
    return create_engine("sqlite://", creator=lambda: connect_to_read(path))


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that cannot write; transactions are said."""
    address = path.absolute().as_uri() + "?mode=ro"
    return sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)


def revision_of(path: Path) -> str | None:
    """The version of a book's tables, None if it has none; the file is only read.

    BookError if there is no file, or one that is no book.
    """
    if not path.is_file():
        raise BookError(f"there is no book {path}; choose --book, or line a deck up first")
    try:
        with closing(connect_to_read(path)) as connection:
            rows = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            tables = {str(name) for (name,) in rows}
            if not tables:
                return None
            if not {"alembic_version", "lineups", "journal"} <= tables:
                raise BookError(f"{path} is a database, but no book of Fluxbench; choose --book")
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.DatabaseError as error:
        raise _unreadable(path, error) from None
    return None if row is None else str(row[0])


def is_known(revision: str | None) -> bool:
    """Whether this Fluxbench knows the tables of a version."""
    scripts = ScriptDirectory.from_config(_config())
    return revision in {script.revision for script in scripts.walk_revisions()}


def check_ours(path: Path) -> None:
    """BookError for a file that is no book, or a newer one's; it is only read, and not changed."""
    if not path.exists() or not path.stat().st_size:
        return
    revision = revision_of(path)
    if revision is not None and not is_known(revision):
        raise newer(path)


def newer(path: Path) -> BookError:
    """What is said of a book that is ahead of this Fluxbench."""
    return BookError(
        f"the book {path} was written by a newer Fluxbench; use that one, or choose another --book"
    )


def made_at(path: Path, revision: str) -> None:
    """Bring the tables of a book up to a version, or make them, in one transaction."""
    engine = engine_for(path, writes=True)
    try:
        upgrade(engine, path, revision)
    finally:
        engine.dispose()


def upgrade(engine: Engine, path: Path, revision: str = HEAD) -> None:
    """Bring the tables up to date in one transaction; BookError for what is no book of ours."""
    config = _config()
    try:
        with engine.begin() as connection:
            now = MigrationContext.configure(connection).get_current_revision()
            if now != revision:
                config.attributes["connection"] = connection
                command.upgrade(config, revision)
    except DatabaseError as error:
        raise _unreadable(path, error.orig or error) from None


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


def _unreadable(path: Path, error: BaseException) -> BookError:
    reason = " ".join(str(error).split())
    return BookError(f"the book {path} cannot be opened ({reason}); choose --book")
