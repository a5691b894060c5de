"""A bench in this process, on a deck of wires, whose line-up takes readings without end."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from fluxbench.book import Book
from fluxbench.session import Session
from fluxbench.session import _session as session_module
from fluxbench.web import _calls, build_app
from tests.benches.counting import TenASecond
from tests.benches.inline_host import InlineHost

OWN = "http://127.0.0.1:7355"
WAIT_S = 120.0  # for a machine that is busy with other things
READINGS_AN_ASK = 5


class AskingAgain(TenASecond):
    """Asks after every few readings; each reading is a step of its own."""

    def _run(self) -> Any:
        if not self._recalling:
            yield
        self.stage("reproduce")
        self.send((1000.0, -6.0))
        while True:
            for _ in range(READINGS_AN_ASK):
                number = self.steps.number
                level = yield from self.step("reading", self._one(number))
                self.write("taken", trimmer="reproduce_level", track=1, number=number,
                           reading_db=float(level), error_db=0.01)  # fmt: skip
            yield from self.ask("transport", "play", state="play", ready=[])


def begun(plan: dict[str, Any]) -> dict[str, Any]:
    """The fields of a command that begins a line-up."""
    return {"kind": "line-up", "plan": plan}


def put_wires_in(patched: pytest.MonkeyPatch, lineup: Callable[..., Any] = TenASecond) -> None:
    """Sessions made from now on have wires for an engine, and that line-up."""
    patched.setattr(session_module, "EngineHost", InlineHost)
    patched.setattr(_calls, "ANSWERS_WITHIN_S", WAIT_S)
    patched.setitem(session_module.PROCEDURES, "line-up", lambda _, *given: lineup(*given))


@contextmanager
def opened(book: Path, change: Callable[[Session], None] = lambda _: None) -> Iterator[Session]:
    """A session that is not started, as a test changed it, and its book."""
    kept = Book(book)
    try:
        session = Session(kept, lambda silence: pytest.fail("no link here"), "wires", "1.2.3")
        change(session)
        yield session
    finally:
        kept.close()


@contextmanager
def client_of(session: Session) -> Iterator[TestClient]:
    """A client in front of it; the session runs meanwhile."""
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as client:
        yield client


def until(wanted: Callable[[], bool], within_s: float = WAIT_S) -> float:
    """Wait for it; how long that took, in seconds."""
    begun_s = time.monotonic()
    while not wanted():
        assert time.monotonic() - begun_s < within_s, "it does not come"
        time.sleep(0.002)
    return time.monotonic() - begun_s
