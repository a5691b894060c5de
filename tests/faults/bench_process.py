"""A bench with no web server: everything that it shows, it prints, one JSON object a line.

Its line-up takes a reading of every track ten times a second, for as long as it lives. With
`--planted` it has a bug that the harness must find: it shows first and writes later.
"""

import argparse
import json
import sys
import time
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

from fluxbench.book import Book, Page
from fluxbench.deck import PracticeDeck
from fluxbench.links import StreamLink
from fluxbench.session import Command, Session
from fluxbench.session import _session as session_module

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benches.counting import TenASecond


class Telling(TenASecond):
    """Tells when it begins a reading, and asks nothing."""

    asks = False

    def begun(self, number: int) -> None:
        print(json.dumps({"begun": number}), flush=True)


def write_later(book: Book) -> None:
    """The planted bug: pages are taken for written and reach the file half a second later."""
    write, waiting, since = book.write, [], [time.monotonic()]

    def later(page: Page) -> Any:
        waiting.append(page)
        seq = later.seq = getattr(later, "seq", book.last_seq())
        told = []
        for entry in page.entries:
            seq += 1
            told.append(
                type(entry)(seq, entry.lineup, entry.at, entry.t_s, entry.what, entry.facts)
            )
        later.seq = seq
        if page.begun is not None or time.monotonic() - since[0] > 0.5:
            for kept in waiting:
                write(kept)
            waiting.clear()
            since[0] = time.monotonic()
        return told

    book.write = later


def shown(message: Mapping[str, Any]) -> None:
    print(json.dumps({key: message[key] for key in ("seq", "what", "facts")}), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("book", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--planted", action="store_true")
    given = parser.parse_args()
    session_module.PROCEDURES["line-up"] = Telling
    book = Book(given.book)
    if given.planted:
        write_later(book)
    session = Session(book, partial(StreamLink, given.port), "harness", "0")
    session.ledger.on_event = shown
    session.start()
    if session.state["lineup"] is None:
        deck = PracticeDeck(tracks=1, speed_ips=30.0, rate_hz=44_100)
        plan = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
        plan = json.loads(json.dumps(plan))
        fields = {"kind": "line-up", "plan": plan}
        session.submit(Command("begin", "begin", fields)).result(20.0)
    for _ in iter(sys.stdin.readline, ""):
        engine = session.engine_process
        print(json.dumps({"engine process": engine}), flush=True)
    session.close()


if __name__ == "__main__":
    main()
