"""Books of every landed version come up with all that is in them; no other file is touched."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory

from fluxbench.base import BookError
from fluxbench.book import Book, upgrade
from fluxbench.book._open import _config, made_at
from fluxbench.book._tables import HEAD

PLAN = {"stock": {"tracks": 2, "speed_ips": 15.0}, "calibration": {}}
FIRST: dict[str, list[dict[str, Any]]] = {
    "lineups": [
        {"id": n, "kind": "line-up", "begun_at": f"2026-01-0{i}", "plan": json.dumps(PLAN),
         "closed": 1, "stopped": None}
        for i, n in enumerate(("one", "two"), 1)
    ],
    "journal": [
        {"seq": i, "lineup": n, "at": f"2026-01-0{i}T10", "t_s": 1.5, "what": "taken",
         "facts": '{"trimmer": "bias"}'}
        for i, n in ((1, "one"), (4, "two"))
    ],
    "steps": [{"row": 3, "lineup": "one", "number": 0, "name": "peak", "is_part": 0,
               "value": "[0, 1.5]", "state": "{}"}],
    "readings": [
        {"row": i, "lineup": n, "seq": s, "stage": "bias", "trimmer": "bias", "track": 2,
         "kind": "taken", "reading": 2.9, "error": None, "unit": "dB over-bias"}
        for i, n, s in ((1, "one", 1), (2, "two", 4))
    ],
    "commands": [{"id": "c1", "at": "2026", "answer": '{"done": true}'}],
}  # fmt: skip
"""Rows of the first tables."""


def first_book(path: Path) -> None:
    """A book as the first version left it."""
    made_at(path, "0001")
    with closing(sqlite3.connect(path)) as connection:
        for table, rows in FIRST.items():
            for row in rows:
                marks = ", ".join(f":{name}" for name in row)
                connection.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", row)
        connection.commit()


def everything(path: Path) -> dict[str, list[dict[str, Any]]]:
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        return {
            table: [dict(row) for row in connection.execute(f"SELECT * FROM {table}")]
            for table in FIRST
        }


def test_the_newest_migration_is_the_one_that_the_tables_are_of() -> None:
    assert ScriptDirectory.from_config(_config()).get_current_head() == HEAD


def test_a_book_of_the_first_version_comes_up_with_all_that_is_in_it(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    first_book(path)
    book = Book(path)
    assert [r.id for r in book.lineups()] == ["two", "one"]
    assert [(r.at, r.lineup, r.speed_ips) for r in book.history(None, None, "bias", 2)] == [
        ("2026-01-01T10", "one", 15.0), ("2026-01-04T10", "two", 15.0),
    ]  # fmt: skip
    book.close()
    after = everything(path)
    for table, rows in FIRST.items():
        assert [{name: row[name] for name in rows[0]} for row in after[table]] == rows


def test_an_upgrade_keeps_what_was(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    first_book(path)
    before = everything(path)
    assert upgrade(path) == ("0001", HEAD, path.with_name(f"book.db.before-{HEAD}"))
    assert everything(path.with_name(f"book.db.before-{HEAD}")) == before
    assert upgrade(path) == (HEAD, HEAD, None)


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
@pytest.mark.parametrize(
    ("statements", "said"),
    [
        (["CREATE TABLE songs (name TEXT)"], "no book of Fluxbench"),
        (["CREATE TABLE alembic_version (version_num TEXT)",
          "INSERT INTO alembic_version VALUES ('0001')"], "no book of Fluxbench"),
        (["CREATE TABLE alembic_version (version_num TEXT)", "CREATE TABLE lineups (id)",
          "CREATE TABLE journal (seq)", "INSERT INTO alembic_version VALUES ('9999')"],
         "newer Fluxbench"),
    ],
)  # fmt: skip
def test_a_newer_or_foreign_database_is_not_touched(
    tmp_path: Path, mode: str, statements: list[str], said: str
) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA journal_mode={mode}")
        for statement in statements:
            connection.execute(statement)
        connection.commit()
    before = path.read_bytes()
    for open_it in (Book, upgrade):
        with pytest.raises(BookError, match=said):
            open_it(path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir() if p.suffix == ".part"] == []
