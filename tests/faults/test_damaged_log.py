"""The write-ahead log of a book cut short, or with one bit turned over, at any place.

100 places; with FLUXBENCH_DAMAGES=1000 as many as that. The book opens, and holds all the pages
that were committed before the damage and nothing else: how many those are is counted in the log
by SQLite's file format (sqlite.org/fileformat2.html, "The WAL File Format"), not by SQLite.
"""

import os
import random
import sqlite3
import struct
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from fluxbench.book import Book, Page, Records
from tests.faults.account import Account, check
from tests.faults.writer_process import Writer

DAMAGES = int(os.environ.get("FLUXBENCH_DAMAGES", "100"))
PAGES_IN_FILE, PAGES_IN_LOG = 16, 10
LOG_HEAD, FRAME_HEAD = struct.Struct(">8I"), struct.Struct(">6I")

pytestmark = pytest.mark.timeout(600 + DAMAGES)


@dataclass(frozen=True, slots=True)
class Left:
    """The files of a bench that was killed, and how much of the log each commit ends at."""

    book: bytes
    log: bytes
    frame_bytes: int
    commits_end: tuple[int, ...]

    def pages_after(self, damage: int, *, cut: bool) -> int:
        """How many pages are whole: a frame counts only when all that stands before it is."""
        if damage < LOG_HEAD.size:
            return PAGES_IN_FILE
        frame = (damage - LOG_HEAD.size) // self.frame_bytes
        sound = damage if cut else LOG_HEAD.size + frame * self.frame_bytes
        return PAGES_IN_FILE + sum(end <= sound for end in self.commits_end)


def write_book(folder: Path, plant: Any = None) -> Left:
    """Pages in the file, then pages in the log, with what is left of an older log behind them."""
    writer = Writer(folder, tell=lambda message: None)
    for page in range(PAGES_IN_FILE + PAGES_IN_LOG):
        if page == PAGES_IN_FILE:
            other = sqlite3.connect(writer.book.place)
            assert other.execute("PRAGMA wal_checkpoint(RESTART)").fetchone()[0] == 0
            other.close()
            if plant is not None:
                plant(writer.book)
        writer.write()
    log = writer.book.place.with_name("book.db-wal").read_bytes()
    left = Left(writer.book.place.read_bytes(), log, *read_log(log))
    writer.book.close()
    return left


def read_log(log: bytes) -> tuple[int, tuple[int, ...]]:
    """The length of a frame, and where those end that end a commit of the newest log."""
    _, _, page_bytes, _, *salt, _, _ = LOG_HEAD.unpack_from(log)
    frame_bytes = FRAME_HEAD.size + page_bytes
    ends, at = [], LOG_HEAD.size
    while at + frame_bytes <= len(log):
        _, committed, *of, _, _ = FRAME_HEAD.unpack_from(log, at)
        if of != salt:
            break
        at += frame_bytes
        if committed:
            ends.append(at)
    return frame_bytes, tuple(ends)


def damage_all(left: Left, place: Path, damages: int) -> None:
    place.mkdir()
    chance = random.Random(5)
    for number in range(damages):
        damage_it(left, place, chance, number)


def damage_it(left: Left, place: Path, chance: random.Random, number: int) -> None:
    """Damage the log of a copy once, open the book, and count its pages."""
    at, cut = chance.randrange(len(left.log)), number % 2 == 0
    log = bytearray(left.log)
    if cut:
        del log[at:]
    else:
        log[at] ^= 1 << chance.randrange(8)
    book = place / "book.db"
    for path in place.iterdir():
        path.unlink()
    book.write_bytes(left.book)
    book.with_name("book.db-wal").write_bytes(log)
    if number % 4 < 2:
        Records(book).close()  # who only reads may come first
    Book(book).close()
    whole = check(book, Account())
    assert whole == left.pages_after(at, cut=cut), f"{'cut' if cut else 'bit turned'} at {at}"


def test_a_damaged_log_leaves_whole_pages_and_all_that_came_before(tmp_path: Path) -> None:
    left = write_book(tmp_path / "written")
    assert len(left.commits_end) == PAGES_IN_LOG
    assert left.commits_end[-1] < len(left.log)  # an older log stands behind
    damage_all(left, tmp_path / "damaged", DAMAGES)


def test_the_harness_finds_a_writer_that_splits_a_page(tmp_path: Path) -> None:
    def split(book: Book) -> None:
        write = book.write

        def twice(page: Page) -> Any:
            told = write(replace(page, steps=[], answers={}))
            write(Page(lineup=page.lineup, steps=page.steps, answers=page.answers, at=page.at))
            return told

        book.write = twice  # type: ignore[method-assign]

    left = write_book(tmp_path / "written", split)
    with pytest.raises(AssertionError, match="half a page"):
        damage_all(left, tmp_path / "damaged", 100)
