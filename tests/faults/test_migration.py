"""Killed, or without power, or failing, on the way to newer tables: the old book, or the new one.

From every version that there was, with rows in all of its tables; at every 25th place, or with
FLUXBENCH_EVERY=1 at each. Between two calls on its files a process changes nothing that outlives
it, so that a kill at any statement leaves what the trace has at one of its places.
"""

import os
import random
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import JSON, Boolean, Column, Engine, Float, Integer, MetaData, event, insert

from fluxbench.base import BookError
from fluxbench.book import Book, _open
from fluxbench.book._open import _config, engine_for
from tests.faults.disk import Disk, lay_out, read_trace
from tests.faults.shim import HERE, run_behind

EVERY = int(os.environ.get("FLUXBENCH_EVERY", "25"))
ROWS = 3

pytestmark = [pytest.mark.compiled, pytest.mark.timeout(600)]

REVISIONS = [s.revision for s in ScriptDirectory.from_config(_config()).walk_revisions()][::-1]
BEFORE = [None, *REVISIONS[:-1]]
"""What a book can be when it is opened by this version; None is no book at all."""

Tables = dict[str, list[dict[str, Any]]]


def value(column: "Column[Any]", row: int) -> Any:
    for key in column.foreign_keys:
        return value(key.column, row)
    if isinstance(column.type, JSON):
        return {"stock": {"speed_ips": 15.0}, "note": f"{column} {row}"}
    if isinstance(column.type, Boolean):
        return row % 2 == 0
    if isinstance(column.type, Float):
        return row + 0.5
    return row if isinstance(column.type, Integer) else f"{column.name} {row}"


def make_book(path: Path, revision: str | None) -> None:
    """A book of that version, with rows in every table, closed."""
    path.parent.mkdir()
    if revision is None:
        return
    engine = engine_for(path, writes=True)
    with engine.begin() as connection:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        tables = MetaData()
        tables.reflect(connection)
        for table in tables.sorted_tables:
            if table.name != "alembic_version":
                rows = [{c.name: value(c, r) for c in table.columns} for r in range(1, ROWS + 1)]
                connection.execute(insert(table), rows)
    engine.dispose()


def contents(path: Path) -> tuple[Any, Tables]:
    """How the tables are made, and what is in them; by plain SQL."""
    if not path.exists():
        return [], {}
    connection = sqlite3.connect(path)
    connection.row_factory = sqlite3.Row
    try:
        assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        made = connection.execute("SELECT * FROM sqlite_master ORDER BY name").fetchall()
        names = [row["tbl_name"] for row in made if row["type"] == "table"]
        rows = {n: [dict(r) for r in connection.execute(f'SELECT * FROM "{n}"')] for n in names}
    finally:
        connection.close()
    return [(row["name"], row["sql"]) for row in made], rows


class Walk:
    """One migration, and every state in which an interruption leaves its book."""

    def __init__(self, shim: Path, folder: Path, revision: str | None, *options: str) -> None:
        self.states = 0
        self._folder, self._chance = folder, random.Random(13)
        root, trace = folder / "book", folder / "trace"
        make_book(root / "book.db", revision)
        self._disk = Disk(root, self._chance)
        self.old = contents(root / "book.db")
        run_behind(shim, str(HERE / "migrate_process.py"), str(root), str(trace), *options)
        self.new = contents(root / "book.db")
        self._events = list(read_trace(trace))

    def interrupt(self, every: int) -> None:
        """By a kill and by a power cut, each before every so many calls, and at the end."""
        for at, happened in enumerate(self._events):
            if at % every == 0:
                self._judge(self._disk.as_seen(), f"{at} kill")
            if (at + every // 2) % every == 0:
                self._judge(self._disk.after_a_cut(self._chance), f"{at} power")
            self._disk.follow(happened)
        self._judge(self._disk.as_seen(), "end")

    def _judge(self, left: dict[str, bytes], name: str) -> None:
        place = self._folder / name
        lay_out({k: v for k, v in left.items() if not k.endswith("-shm")}, place)
        book = place / "book.db"
        assert contents(book) in (self.old, self.new), "a book between two versions"
        Book(book).close()
        assert contents(book) == self.new
        self.states += 1


@pytest.mark.parametrize("revision", BEFORE)
def test_an_interrupted_migration(shim: Path, tmp_path: Path, revision: str | None) -> None:
    walk = Walk(shim, tmp_path, revision)
    assert walk.old != walk.new
    walk.interrupt(EVERY)
    print(f"from {revision}: {walk.states} states, each the old book or the new one")


@pytest.mark.parametrize("revision", BEFORE[1:])
def test_a_migration_keeps_what_was_there(tmp_path: Path, revision: str) -> None:
    path = tmp_path / "book" / "book.db"
    make_book(path, revision)
    _, old = contents(path)
    assert len(old["readings"]) == ROWS
    Book(path).close()
    _, new = contents(path)
    for name in old.keys() - {"alembic_version"}:
        pairs = zip(new[name], old[name], strict=True)
        assert [{key: now[key] for key in was} for now, was in pairs] == old[name]


def test_the_harness_finds_a_migration_in_pieces(shim: Path, tmp_path: Path) -> None:
    walk = Walk(shim, tmp_path, BEFORE[-1], "--planted")
    with pytest.raises(AssertionError, match="between two versions"):
        walk.interrupt(4)


@pytest.mark.parametrize("revision", BEFORE[1:])
def test_a_migration_that_fails_leaves_the_file_as_it_was(tmp_path: Path, revision: str) -> None:
    """At each of its statements, byte for byte."""
    path = tmp_path / "book" / "book.db"
    make_book(path, revision)
    before, statement = path.read_bytes(), 0
    while fails_at(path, statement):
        assert path.read_bytes() == before
        assert [p.name for p in path.parent.iterdir() if p.name != "book.db.lock"] == ["book.db"]
        statement += 1
    assert statement >= 3  # the smallest of them: two columns, and the version
    assert path.read_bytes() != before


def fails_at(path: Path, statement: int) -> bool:
    """Open a book and fail at its n-th statement that writes; whether it came to that."""
    left = [statement]

    def fail(_connection: Any, _cursor: Any, said: str, *_: Any) -> None:
        if said.lstrip().startswith(("CREATE", "ALTER", "UPDATE", "INSERT", "DELETE", "DROP")):
            left[0] -= 1
            if left[0] < 0:
                raise RuntimeError("planted")

    event.listen(Engine, "before_cursor_execute", fail)
    try:
        Book(path).close()
    except RuntimeError:
        return True
    finally:
        event.remove(Engine, "before_cursor_execute", fail)
    return False


def foreign(path: Path, mode: str, *, left_open: bool) -> None:
    """A database of somebody else, closed or left behind by a crash."""
    made = path.with_name("made.db")
    connection = sqlite3.connect(made)
    connection.execute(f"PRAGMA journal_mode={mode}")
    connection.execute("CREATE TABLE songs (name TEXT)")
    connection.execute("INSERT INTO songs VALUES ('one')")
    connection.commit()
    leave(connection, made, path, left_open=left_open)


def newer(path: Path, mode: str, *, left_open: bool) -> None:
    """A book of a version that is yet to come."""
    made = path.with_name("made.db")
    Book(made).close()
    connection = sqlite3.connect(made)
    connection.execute(f"PRAGMA journal_mode={mode}")
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    leave(connection, made, path, left_open=left_open)


def leave(connection: sqlite3.Connection, made: Path, path: Path, *, left_open: bool) -> None:
    """Copy the files as they are after the connection was closed, or while it is still open."""
    if not left_open:
        connection.close()
    for end in ("", "-wal", "-journal"):
        found = made.with_name(made.name + end)
        if found.exists():
            path.with_name(path.name + end).write_bytes(found.read_bytes())
    connection.close()


STRANGERS = [(foreign, "no book of Fluxbench"), (newer, "newer Fluxbench")]


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
@pytest.mark.parametrize("left_open", [False, True], ids=["closed", "left by a crash"])
@pytest.mark.parametrize(("make", "line"), STRANGERS, ids=["foreign", "newer"])
def test_a_stranger_is_refused_untouched(
    tmp_path: Path, make: Callable[..., None], line: str, mode: str, left_open: bool
) -> None:
    place = tmp_path / "place"
    place.mkdir()
    make(place / "book.db", mode, left_open=left_open)
    before = {p.name: p.read_bytes() for p in place.iterdir() if not p.name.startswith("made")}
    with pytest.raises(BookError, match=line):
        Book(place / "book.db")
    after = {name: (place / name).read_bytes() for name in before}
    assert after == before


def test_the_harness_finds_a_bench_that_opens_first_and_looks_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_open, "refuse_a_stranger", lambda path: None)
    with pytest.raises(AssertionError):
        test_a_stranger_is_refused_untouched(tmp_path, *STRANGERS[0], "DELETE", left_open=False)
