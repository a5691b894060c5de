"""A disk that is full, and one that gives errors, from the n-th call on; one n in 25, every sync.

With FLUXBENCH_EVERY=1 each n: 50 writes to a full disk from the first page of a book on and 50
from before there was one; and errors of input and output from every write and sync, for good and
once, until n is beyond the last. A failed sync loses what it should have written (`disk.py`).
"""

import errno
import json
import os
import random
from pathlib import Path
from typing import Any

import pytest

from tests.faults.account import Account, check
from tests.faults.disk import Disk, lay_out, read_trace
from tests.faults.shim import FOREVER, HERE, SYNCS, WRITES, run_behind

EVERY = int(os.environ.get("FLUXBENCH_EVERY", "25"))
PAGES = 4
TOLD_WITHIN_S = 1.0  # of the processor: how busy the machine is does not count

pytestmark = [pytest.mark.compiled, pytest.mark.timeout(2000)]


ANY = {"every": EVERY, "before": FOREVER, "pages": PAGES, "open": False, "planted": False,
       "count": FOREVER}  # fmt: skip
SWEEPS: dict[str, dict[str, Any]] = {
    "full, first page": {"kinds": WRITES, "error": errno.ENOSPC, "open": True, "before": 50},
    "full, new book": {"kinds": WRITES, "error": errno.ENOSPC, "before": 50},
    "writes, for good": {"kinds": WRITES, "error": errno.EIO},
    "writes, once": {"kinds": WRITES, "error": errno.EIO, "count": 1},
    "syncs, for good": {"kinds": SYNCS, "error": errno.EIO, "every": 1},
    "syncs, once": {"kinds": SYNCS, "error": errno.EIO, "count": 1, "every": 1},
    "planted": {"kinds": WRITES, "error": errno.EIO, "open": True, "planted": True,
                "every": 10, "before": 50},
}  # fmt: skip


@pytest.fixture(scope="module")
def sweeps(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All trials, made by one process."""
    place = tmp_path_factory.mktemp("sweeps")
    wanted = [{**ANY, **given, "folder": str(place / name)} for name, given in SWEEPS.items()]
    run_behind(shim, str(HERE / "writer_process.py"), json.dumps({"sweeps": wanted}))
    return place


class Sweep:
    """Trials of one kind of failure, each held against what its disk holds."""

    def __init__(self, folder: Path) -> None:
        self._chance = random.Random(3)
        self._folder = folder
        self.trials = self.refused = self.stuck = self.cuts = 0
        self.lines: set[str] = set()
        self.last_failed = 1

    def check(self) -> None:
        """Every trial; a power cut at its end, and at places on the way."""
        for number in sorted(int(p.stem) for p in self._folder.glob("*.trace")):
            self._check(self._folder / str(number))
            self.trials += 1

    def _check(self, root: Path) -> None:
        empty = root.with_suffix(".empty")
        empty.mkdir()
        disk = Disk(empty, self._chance)
        disk.root = root
        events = list(read_trace(root.with_suffix(".trace")))
        doing = [at for at, event in enumerate(events) if event.what != "!"]
        places = self._chance.sample(doing, 2)
        account, said = Account(), []
        for at, event in enumerate(events):
            if at in places:
                self._cut(disk, account, root.with_suffix(f".{at}"))
            disk.follow(event)
            said += account.hear(disk.said.decode())
            disk.said = disk.said[disk.said.rfind(b"\n") + 1 :]
        self._cut(disk, account, root.with_suffix(".end"))
        assert check(root / "deep" / "book.db", account) == PAGES
        self._judge(said)

    def _cut(self, disk: Disk, account: Account, place: Path) -> None:
        lay_out(disk.after_a_cut(self._chance), place)
        check(place / "deep" / "book.db", account)
        self.cuts += 1

    def _note(self, line: str | None) -> None:
        if line is not None:
            self.lines.add(line.replace(str(self._folder), ""))

    def _judge(self, said: list[dict[str, Any]]) -> None:
        """Named within a second; nothing shown until it was written; all of it in the end."""
        saved, for_good = True, False
        for message in said:
            if "saved" in message:
                saved = message["saved"]
                self._note(message["line"])
            elif "refused" in message:
                self.refused += 1
                self._note(message["refused"])
            elif "stuck after_s" in message:
                self.stuck += 1
                assert message["stuck after_s"] < TOLD_WITHIN_S
                assert not saved
            elif "taken" in message or "answered" in message:
                assert saved, "shown while nothing can be saved"
            elif "over" in message:
                self.last_failed, for_good = message["failed"], True
        assert saved
        assert for_good, "the trial has not come to its end"


def checked(folder: Path) -> Sweep:
    sweep = Sweep(folder)
    sweep.check()
    print(f"{folder.name}: {sweep.trials} trials, {sweep.refused} books refused, {sweep.stuck} "
          f"pages that waited, {sweep.cuts} power cuts, nothing lost")  # fmt: skip
    return sweep


@pytest.mark.parametrize("name", ["full, first page", "full, new book"])
def test_a_full_disk(sweeps: Path, name: str) -> None:
    """Told as such; the same session goes on when there is space again."""
    sweep = checked(sweeps / name)
    assert sweep.trials == len(range(0, 50, EVERY))
    assert sweep.stuck + sweep.refused == sweep.trials
    assert all("full" in line or "No space" in line for line in sweep.lines), sweep.lines


@pytest.mark.parametrize("name", [name for name, given in SWEEPS.items() if "before" not in given])
def test_errors_of_the_disk(sweeps: Path, name: str) -> None:
    """From every call, until a run without any."""
    sweep = checked(sweeps / name)
    assert sweep.last_failed == 0
    assert sweep.stuck > 0


def test_the_harness_finds_a_bench_that_takes_no_notice(sweeps: Path) -> None:
    """It shows what it could not write."""
    with pytest.raises(AssertionError, match="were shown and are lost"):
        Sweep(sweeps / "planted").check()
