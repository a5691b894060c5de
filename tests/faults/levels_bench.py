"""A bench that takes levels without end: ``python -m tests.faults.levels_bench BOOK PORT``.

Everything that it shows it prints, one JSON object a line; a line on its standard input is a number
of an ask that is done, or nothing, which it answers at once. With `--planted` its link has a bug
that the harness must find: when nothing comes any more it gives the last block again, as some
drivers do, and what the stream says was lost it keeps to itself.
"""

# The engine's process loads this file as well: what only the bench needs is imported in `main`.
import argparse
import json
import sys
import threading
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from fluxbench.base import Block, DeviceLostError, Flag
from fluxbench.links import StreamLink

TONE_DB = -6.0


class CarelessLink(StreamLink):
    """The planted bug."""

    last: Block | None = None

    def exchange(self, send: Any) -> Block:
        try:
            self.last = replace(super().exchange(send), flags=Flag.NONE)
        except DeviceLostError:
            if self.last is None:
                raise
        return self.last


SPEAKING = threading.Lock()


def tell(message: Mapping[str, Any]) -> None:
    with SPEAKING:  # two threads tell, and a line is one line
        print(json.dumps(message), flush=True)


def main() -> None:
    from fluxbench.book import Book
    from fluxbench.lineup import LineUp
    from fluxbench.session import Command, Session
    from fluxbench.session import _session as session_module

    class Levels(LineUp):
        """A level every half second, each a step; asks for the tape where the tone is gone."""

        def _run(self) -> Any:
            if not self._recalling:
                yield
            self.stage("reproduce")
            self.send((1000.0, TONE_DB))
            yield from self.settle()
            while True:
                level_db = yield from self.levels(0.5)
                self.write("taken", trimmer="reproduce_level", track=1,
                           reading_db=float(level_db[0, 0]), error_db=0.01)  # fmt: skip

        def wind(self) -> Any:
            yield from self.ask("transport", "play", state="play", ready=[])
            yield from self.settle()

    parser = argparse.ArgumentParser()
    parser.add_argument("book", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--planted", action="store_true")
    given = parser.parse_args()

    session_module.PROCEDURES["line-up"] = lambda _, *known: Levels(*known)
    link = CarelessLink if given.planted else StreamLink
    session = Session(Book(given.book), partial(link, given.port), "harness", "0")
    session.ledger.on_event = lambda said: tell({k: said[k] for k in ("what", "facts", "set")})
    session.start()
    begin = Command("begin", "begin", {"kind": "line-up", "plan": made_plan()})
    session.submit(begin).result(60.0)
    for n, line in enumerate(iter(sys.stdin.readline, "")):
        if line.strip():
            session.submit(Command(f"done {n}", "acknowledge", {"ask": int(line)}))
        else:
            tell({"engine process": session.engine_process, "state": session.state["bench"]})
    session.close()


def made_plan() -> dict[str, Any]:
    """What a practice deck of one track says, where it plays no part otherwise."""
    from fluxbench.deck import PracticeDeck

    deck = PracticeDeck(tracks=1, speed_ips=30.0, rate_hz=44_100)
    plan = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    return dict(json.loads(json.dumps(plan)))


if __name__ == "__main__":
    main()
