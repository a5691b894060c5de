"""Opening a book, in a file or on a server; the tables brought up to date."""

import sqlite3
from collections.abc import Callable
from functools import partial
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, inspect
from sqlalchemy.exc import DatabaseError

from fluxbench.base import BookError
from fluxbench.book import _file, _server
from fluxbench.book._file import Lock, keep_names, make_folder
from fluxbench.book._place import Place, Server
from fluxbench.book._tables import HEAD


def claimed(place: Place) -> Callable[[], None]:
    """Have a book for writing, as far as its place is for one alone; what gives it back."""
    if isinstance(place, Server):
        return lambda: None
    refuse_a_stranger(place)
    make_folder(place.parent)
    return Lock(place).release


def engine_for(place: Place, *, writes: bool, bench: str | None = None) -> Engine:
    """A pool of connections to a book; a writing transaction is one from its first line."""
    if isinstance(place, Server):
        return _server.engine_for(place, writes=writes, bench=bench)
    return _file.engine_for(place, writes=writes)


def settle(place: Place) -> None:
    """Have the disk know of a book that was made; BookError."""
    if not isinstance(place, Server):
        keep_names(place.parent)


def reader_of(place: Place) -> Engine:
    """Connections that only read, beside a bench that may have the book open; `BookError`."""
    if isinstance(place, Server):
        engine = _server.engine_for(place, writes=False)
    else:
        engine = _file.reader_for(place)
    scripts = ScriptDirectory.from_config(_config())
    try:
        with engine.connect() as connection:
            now = MigrationContext.configure(connection).get_current_revision()
    except DatabaseError as error:
        engine.dispose()
        raise _unreadable(place, error) from None
    if now != scripts.get_current_head():
        engine.dispose()
        raise BookError(
            f"{place} is no book of this Fluxbench, or one of another version; choose --book, "
            "or have the bench open it once, which brings an older book up to date"
        )
    return engine


def revision_of(place: Place) -> str | None:
    """The version of a book's tables, None if it has none; the book is only looked at.

    BookError if there is no book, or something that is no book of ours.
    """
    if isinstance(place, Server):
        engine = _server.engine_for(place, writes=False)
    else:
        refuse_a_stranger(place)
        engine = _file.reader_for(place)
    try:
        with engine.connect() as connection:
            return _revision_of(connection, place)
    except DatabaseError as error:
        raise _unreadable(place, error) from None
    finally:
        engine.dispose()


def is_known(revision: str | None) -> bool:
    """Whether this Fluxbench knows the tables of a version."""
    scripts = ScriptDirectory.from_config(_config())
    return revision in {script.revision for script in scripts.walk_revisions()}


def made_at(place: Place, revision: str) -> None:
    """Bring the tables of a book up to a version, or make them, in one transaction."""
    engine = engine_for(place, writes=True)
    try:
        upgrade(engine, place, revision)
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


def upgrade(engine: Engine, place: Place, revision: str = HEAD) -> None:
    """Bring the tables up to date in one transaction; BookError for what is no book of ours."""
    try:
        with engine.execution_options(patient=True).begin() as connection:
            upgrade_in(connection, place, revision)
    except DatabaseError as error:
        raise _unreadable(place, error) from None


def upgrade_in(connection: Connection, place: Place, revision: str) -> None:
    """The same in a transaction of the caller's."""
    if _revision_of(connection, place) != revision:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)


def _revision_of(connection: Connection, place: Place) -> str | None:
    now = MigrationContext.configure(connection).get_current_revision()
    tables = set(inspect(connection).get_table_names())
    if tables and (now is None or not {"lineups", "journal"} <= tables):
        raise BookError(f"{place} is a database, but no book of Fluxbench; choose --book")
    if now is not None and not is_known(now):
        raise BookError(
            f"the book {place} was written by a newer Fluxbench; use that one, "
            "or choose another --book"
        )
    return now


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


def reason_of(place: Place, error: BaseException) -> str:
    """What a database said, on one line and without a password."""
    reason = " ".join(str(getattr(error, "orig", None) or error).split())
    return place.without_secrets(reason) if isinstance(place, Server) else reason


def _unreadable(place: Place, error: DatabaseError) -> BookError:
    reason = reason_of(place, error)
    if isinstance(place, Server):
        advice = "see to the server, and to user, password and database in --book"
    elif "disk" in reason:
        advice = "is the disk full? If not, choose --book"
    else:
        advice = "choose --book"
    return BookError(f"the book {place} cannot be opened ({reason}); {advice}")
