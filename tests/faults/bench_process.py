"""A bench with no web server: everything that it shows, it prints, one JSON object a line.

Its line-up takes ten readings a second, for as long as it lives. With `--planted` it has a bug
that the harness must find: it shows first and writes later.
"""

# The engine's process loads this file as well: what only the bench needs is imported in `main`.
import argparse
import json
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any


def write_later(book: Any) -> None:
    """The planted bug: pages are taken for written and reach the file half a second later."""
    write, waiting, since = book.write, [], [time.monotonic()]
    given = [book.last_seq()]

    def later(page: Any) -> Any:
        waiting.append(page)
        told = [replace(e, seq=given[0] + i) for i, e in enumerate(page.entries, 1)]
        given[0] += len(told)
        if page.begun is not None or time.monotonic() - since[0] > 0.5:
            for kept in waiting:
                write(kept)
            waiting.clear()
            since[0] = time.monotonic()
        return told

    book.write = later


SPEAKING = threading.Lock()


def tell(message: Mapping[str, Any]) -> None:
    with SPEAKING:  # two threads tell, and a line is one line
        print(json.dumps(message), flush=True)


def main() -> None:
    from fluxbench.book import Book
    from fluxbench.deck import PracticeDeck
    from fluxbench.links import StreamLink
    from fluxbench.session import Command, Session
    from fluxbench.session import _session as session_module

    sys.path.insert(0, str(Path(__file__).parents[2]))
    from tests.benches.counting import TenASecond

    class Telling(TenASecond):
        asks = False

        def begun(self, number: int) -> None:
            tell({"begun": number})

    parser = argparse.ArgumentParser()
    parser.add_argument("book", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--planted", action="store_true")
    given = parser.parse_args()

    def take_up(_: Any, *known: Any) -> Telling:
        tell({"taken up": len(known)})
        return Telling(*known)

    session_module.PROCEDURES["line-up"] = take_up
    book = Book(given.book)
    if given.planted:
        write_later(book)
    session = Session(book, partial(StreamLink, given.port), "harness", "0")
    session.ledger.on_event = lambda said: tell({k: said[k] for k in ("seq", "what", "facts")})
    session.start()
    if session.state["lineup"] is None:
        deck = PracticeDeck(tracks=1, speed_ips=30.0, rate_hz=44_100)
        plan = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
        fields = {"kind": "line-up", "plan": json.loads(json.dumps(plan))}
        session.submit(Command("begin", "begin", fields)).result(60.0)
    for _ in iter(sys.stdin.readline, ""):
        tell({"engine process": session.engine_process})
    session.close()


if __name__ == "__main__":
    main()
