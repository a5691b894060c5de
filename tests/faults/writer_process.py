"""A bench's ledger that writes pages as a session does, and prints what it shows, behind a shim.

One JSON object a line: `taken` for a reading that was shown with its number in the journal,
`answered` for a command, `saved` with its line when that changes, `refused` when a book could not
be opened. What to do comes as JSON too, see `main`.
"""

import json
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from sqlalchemy import event

from fluxbench.base import FluxbenchError
from fluxbench.book import Book
from fluxbench.lineup import Kept
from fluxbench.session import Command
from fluxbench.session import _ledger as ledger_module
from fluxbench.session._commands import Waiting
from fluxbench.session._ledger import Ledger
from fluxbench.session._pages import Desk, new_row, plan_of
from tests.benches.written_lineup import shown
from tests.faults.shim import Switches

SHOWN = shown(24)
BENCH: dict[str, Any] = {
    "run": "", "version": "0", "engine": "running", "line": None, "silenced": False,
    "gaps": 0, "link": {}, "deck": None, "saved": True,
}  # fmt: skip


def tell(message: Mapping[str, Any]) -> None:
    print(json.dumps(message), flush=True)


def tracks_of(page: int) -> int:
    """How many readings a page has: from one to as many as a deck has tracks."""
    return 1 + page * 7 % 24


def reading_of(page: int, track: int) -> float:
    return round(page + track / 100.0, 2)


class Written:
    """Stands in for a line-up: each page is a step and the readings of some tracks."""

    def __init__(self) -> None:
        self.time_s = 0.0
        self.journal: list[dict[str, Any]] = []
        self.steps = SimpleNamespace(fresh=[])
        self.view = SimpleNamespace(ask=None, closed=False, stopped=None, stage="reproduce")

    def take(self, page: int) -> None:
        self.time_s += 0.1
        for track in range(1, tracks_of(page) + 1):
            self.journal.append({
                "t": self.time_s, "what": "taken", "trimmer": "reproduce_level", "track": track,
                "reading_db": reading_of(page, track), "error_db": 0.01, "page": page,
            })  # fmt: skip
        self.steps.fresh.append(Kept(page, "page", [page], {"note": "x" * (page * 37 % 400)}))


class Writer:
    """A book, its ledger, and a line-up that is begun or gone on with."""

    def __init__(
        self,
        folder: Path,
        synchronous: str = "FULL",
        tell: Callable[[Mapping[str, Any]], None] = tell,
    ) -> None:
        self._tell = tell
        self.book = Book(folder / "deep" / "book.db")
        if synchronous != "FULL":
            less = f"PRAGMA synchronous={synchronous}"
            event.listen(self.book._writer, "connect", lambda c, _: c.execute(less))
            self.book._writer.dispose()
        self.ledger = Ledger(self.book, dict(BENCH))
        self.ledger.on_event = self._show
        standing = self.ledger.restore()
        if standing is None:
            row = new_row("line-up", SHOWN)
            self.page = 0
            self.ledger.begin(row, plan_of(SHOWN))
        else:
            row = standing[0]
            self.page = len(self.book.steps(row.id))
        self.desk: Any = Desk(row, Written(), None, "reproduce")  # type: ignore[arg-type]

    def _show(self, said: Mapping[str, Any]) -> None:
        facts = said["facts"]
        if said["what"] == "taken":
            tell(
                {"seq": said["seq"], "taken": [facts["page"], facts["track"], facts["reading_db"]]}
            )
        elif said["what"] == "bench" and "saved" in facts:
            self._tell({"saved": facts["saved"], "line": facts.get("line")})

    def write(self) -> None:
        """Take a page and have it recorded, as far as that goes."""
        self.desk.lineup.take(self.page)
        waiting = Waiting(Command(f"page {self.page}", "acknowledge"))
        waiting.answer.add_done_callback(lambda done: self._tell({"answered": done.result()["id"]}))
        self.ledger.answer(waiting)
        self.page += 1
        self.ledger.record(self.desk)


def answer_first(writer: Writer) -> None:
    """The planted bug: a page that cannot be written is shown, and forgotten."""
    write, given = writer.book.write, [writer.book.last_seq()]

    def hoping(page: Any) -> Any:
        try:
            told = write(page)
        except FluxbenchError:
            told = [replace(e, seq=given[0] + i) for i, e in enumerate(page.entries, 1)]
        given[0] += len(told)
        return told

    writer.book.write = hoping  # type: ignore[method-assign]


def run_trial(switches: Switches, given: Mapping[str, Any], first: int) -> int:
    """Write some pages while calls fail, and go on when they do not any more; how many failed."""
    folder = Path(given["folder"]) / str(first)
    folder.mkdir()
    switches.watch(folder, folder.with_suffix(".trace"))
    writer = Writer(folder) if given["open"] else None
    switches.fail(given["kinds"], first, given["count"], given["error"])
    if given["planted"] and writer is not None:
        answer_first(writer)
    if writer is None:
        try:
            writer = Writer(folder)
        except FluxbenchError as error:
            tell({"refused": str(error)})
            switches.heal()
            writer = Writer(folder)
    for _ in range(given["pages"]):
        began_s = time.process_time()
        writer.write()
        tries = 0
        while writer.ledger.stuck:
            if tries == 0:
                tell({"stuck after_s": time.process_time() - began_s})
            if tries == 2:
                tell({"healed": True})
                switches.heal()
            tries += 1
            time.sleep(ledger_module.BOOK_AGAIN_S)
            writer.ledger.record(writer.desk)
    writer.book.close()
    failed = switches.failed
    switches.heal()
    tell({"over": True, "failed": failed})
    return failed


def main() -> None:
    given = json.loads(sys.argv[1])
    switches = Switches()
    if "sweeps" in given:
        ledger_module.BOOK_AGAIN_S = 0.02
        for sweep in given["sweeps"]:
            Path(sweep["folder"]).mkdir()
            first = 0
            while run_trial(switches, sweep, first) and first + sweep["every"] < sweep["before"]:
                first += sweep["every"]
        return
    folder = Path(given["folder"])
    switches.watch(folder, Path(given["trace"]))
    writer = Writer(folder, given["synchronous"])
    for _ in range(given["pages"]):
        writer.write()
    if given["close"]:
        writer.book.close()


if __name__ == "__main__":
    main()
