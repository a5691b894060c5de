"""Power cuts, simulated: of what was not synced each sector is kept, lost or garbage.

10 cuts; with FLUXBENCH_CUTS=100 as many as that. A bench writes behind the shim; its trace is cut
at any place, the power comes back, the book is opened and held against what had been shown. Five
cuts are made in each trace, each just before one of its calls, and the next bench goes on from
what the last of them left.
"""

import json
import os
import random
from pathlib import Path

import pytest

from fluxbench.book import Book
from tests.faults.account import Account, check
from tests.faults.disk import Disk, lay_out, read_trace
from tests.faults.shim import HERE, run_behind

CUTS = int(os.environ.get("FLUXBENCH_CUTS", "10"))
CUTS_A_RUN = 5
PAGES = 100

pytestmark = [pytest.mark.compiled, pytest.mark.timeout(600 + 20 * CUTS)]


class Laboratory:
    """Runs benches on one book, with power cuts, and counts."""

    def __init__(self, shim: Path, folder: Path, synchronous: str, pages: int) -> None:
        self.shown = self.cuts = 0
        self._pages = pages
        self._shim, self._folder, self._synchronous = shim, folder, synchronous
        self._chance = random.Random(11)
        self._kept = Account()  # what earlier benches showed before their power was cut
        self._start: dict[str, bytes] = {}

    def run(self, number: int) -> None:
        """One bench, the power cut at five places of what it did."""
        place = self._folder / f"bench {number}"
        root, trace = place / "root", place / "trace"
        lay_out(self._start, root)
        disk = Disk(root, self._chance)
        given = {"folder": str(root), "trace": str(trace), "pages": self._pages,
                 "synchronous": self._synchronous, "close": number % 2 == 1}  # fmt: skip
        run_behind(self._shim, str(HERE / "writer_process.py"), json.dumps(given))
        events = list(read_trace(trace))
        doing = [at for at, event in enumerate(events) if event.what != "!"]
        places = self._chance.sample(doing, CUTS_A_RUN)
        account = Account(dict(self._kept.taken), set(self._kept.answered))
        for at, event in enumerate(events):
            if at in places:
                account.hear(disk.said.decode())
                disk.said = disk.said[disk.said.rfind(b"\n") + 1 :]
                self._cut(disk, account, place / f"cut {at}")
            disk.follow(event)
        seen = {name: content for name, content in disk.as_seen().items() if "-shm" not in name}
        assert seen == files_below(root), "the shim has missed something"
        self._kept = account

    def _cut(self, disk: Disk, account: Account, place: Path) -> None:
        left = disk.after_a_cut(self._chance)
        lay_out(left, place)
        self._start = left
        self.cuts += 1
        self.shown = len(account.taken)
        book = place / "deep" / "book.db"
        if book.exists():
            Book(book).close()  # no error, and the log is played back by who will go on with it
        check(book, account)


def files_below(root: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in root.rglob("*")
        if path.is_file() and "-shm" not in path.name  # shared memory, made anew after a cut
    }


def test_nothing_that_was_shown_is_lost(shim: Path, tmp_path: Path) -> None:
    laboratory = Laboratory(shim, tmp_path, "FULL", PAGES)
    for number in range(CUTS // CUTS_A_RUN):
        laboratory.run(number)
    assert laboratory.cuts == CUTS
    assert laboratory.shown > 100
    print(f"{CUTS} power cuts, {laboratory.shown} readings shown, none lost")


def test_the_harness_finds_a_book_that_is_not_synced(shim: Path, tmp_path: Path) -> None:
    """With `synchronous=NORMAL` SQLite leaves the last pages to the operating system."""
    laboratory = Laboratory(shim, tmp_path, "NORMAL", PAGES // 4)
    with pytest.raises(AssertionError, match="were shown and are lost"):
        laboratory.run(0)
