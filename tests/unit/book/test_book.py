"""The book: all of a page or nothing, one bench at a time, no stranger's file touched."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from fluxbench.base import BookError
from fluxbench.book import Book, Entry, LineUpRow, Page, Place, Reading, Records
from fluxbench.book._open import engine_for
from fluxbench.book._tables import FOLLOWING, METADATA
from fluxbench.lineup import Kept

ROW = LineUpRow("one", "line-up", "2026-01-01T00:00:00.000Z", {"stock": {"tracks": 2}})


@pytest.fixture
def book(book_place: Place) -> Iterator[Book]:
    opened = Book(book_place)
    yield opened
    opened.close()


def entry(what: str, lineup: str | None = "one") -> Entry:
    return Entry(0, lineup, "2026-01-01T00:00:01.000Z", 1.5, what, {"number": 7})


def first_page() -> Page:
    kept = [Kept(0, "ask load", None, {"asks": 1}), Kept(1, "peak", [0, 1.5], {}, is_part=True)]
    reading = Reading(1, "bias", "bias", 2, "taken", 2.79, None, "dB over-bias")
    return Page(
        lineup="one", begun=ROW, entries=[entry("begun"), entry("taken")], steps=kept,
        readings=[reading], answers={"b7c6": {"done": True}}, at="2026-01-01T00:00:01.000Z",
    )  # fmt: skip


def test_what_was_written_is_read(book: Book) -> None:
    written = book.write(first_page())
    assert [e.seq for e in written] == [1, 2]
    assert book.entries() == written
    assert book.entries(since=1, lineup="one") == written[1:]
    assert book.steps("one") == first_page().steps
    assert book.answer("b7c6") == {"done": True}
    assert book.answer("other") is None
    assert book.lineups() == [ROW]
    assert book.own_newest() == ROW
    (row,) = book.readings_of("one")
    assert (row.track, row.reading, row.error) == (2, 2.79, None)


def test_a_line_up_that_was_ended_is_not_open(book: Book) -> None:
    book.write(first_page())
    book.write(Page(lineup="one", entries=[entry("stopped")], closed=True, stopped="enough"))
    newest = book.own_newest()
    assert newest == book.lineups()[0]
    assert (newest.closed, newest.stopped) == (True, "enough")


def test_a_page_is_written_whole_or_not_at_all(book: Book) -> None:
    book.write(first_page())
    again = Page(lineup="one", entries=[entry("note")], answers={"b7c6": {"done": False}})
    with pytest.raises(BookError, match="cannot be written"):
        book.write(again)  # the answer is there already
    assert book.last_seq() == 2
    assert book.answer("b7c6") == {"done": True}


def test_a_number_is_never_given_twice(book: Book) -> None:
    book.write(first_page())
    with pytest.raises(BookError):
        book.write(Page(entries=[entry("note")], answers={"b7c6": {}}))
    assert book.write(Page(entries=[entry("note", None)]))[0].seq >= 3


def test_the_file_is_safe_against_power_cuts(tmp_path: Path) -> None:
    engine = engine_for(tmp_path / "book.db", writes=True)
    with engine.begin() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    engine.dispose()


def test_the_migrations_make_the_tables_that_are_used(book: Book) -> None:
    engine = engine_for(book.place, writes=False)
    with engine.begin() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, [METADATA, FOLLOWING]) == []
    engine.dispose()


def test_two_benches_on_one_file(tmp_path: Path) -> None:
    book = Book(tmp_path / "book.db")
    with pytest.raises(BookError, match=rf"another bench \(process {os.getpid()}\)"):
        Book(book.place)
    book.write(first_page())
    assert book.last_seq() == 2
    book.close()


def test_the_book_is_free_when_its_bench_was_killed(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    script = (
        "import os, sys; from pathlib import Path; from fluxbench.book import Book;"
        "Book(Path(sys.argv[1])); os.kill(os.getpid(), 9)"
    )
    killed = subprocess.run([sys.executable, "-c", script, str(path)], check=False)
    assert killed.returncode == -9
    Book(path).close()


def test_a_book_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    Book(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()  # the last one out writes all of it into the file
    before = path.read_bytes()
    with pytest.raises(BookError, match="newer Fluxbench"):
        Book(path)
    assert path.read_bytes() == before


def test_another_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("CREATE TABLE songs (name TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(BookError, match="no book of Fluxbench"):
        Book(path)
    assert path.read_bytes() == before


def test_what_is_no_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("not a database, but a long enough text to be read as a file header " * 20)
    with pytest.raises(BookError, match="cannot be opened"):
        Book(path)
    assert path.read_text().startswith("not a database")


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BookError, match="cannot be made"):
        Book(tmp_path / "file" / "book.db")


def test_records_are_read_beside_the_bench_that_writes(book: Book) -> None:
    book.write(first_page())
    records = Records(book.place)
    assert records.lineups() == [ROW]
    assert records.entries() == book.entries()
    book.write(Page(lineup="one", entries=[entry("note")]))
    assert records.last_seq() == book.last_seq() == 3
    records.close()


def test_records_make_no_book_and_read_no_other(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="there is no book"):
        Records(tmp_path / "none.db")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "letter").write_text("dear reader, this is no database at all")
    with pytest.raises(BookError, match="cannot be opened"):
        Records(tmp_path / "letter")
    sqlite3.connect(tmp_path / "empty.db").close()
    with pytest.raises(BookError, match="no book of this Fluxbench"):
        Records(tmp_path / "empty.db")


def test_a_book_with_a_strange_name_can_be_read(tmp_path: Path) -> None:
    path = tmp_path / "a?mode=rw#1 %41.db"
    Book(path).close()
    records = Records(path)
    assert records.lineups() == []
    records.close()
