"""A session on its own book with a client in front of it, shared by the tests of the web."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from fluxbench.book import Book
from fluxbench.session import Session
from fluxbench.session import _session as session_module
from fluxbench.web import _calls, build_app
from tests.benches.counting import TenASecond
from tests.benches.inline_host import InlineHost

OWN = "http://127.0.0.1:7355"


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Session]:
    monkeypatch.setattr(session_module, "EngineHost", InlineHost)
    monkeypatch.setattr(_calls, "ANSWERS_WITHIN_S", 120.0)  # a machine may be busy
    monkeypatch.setitem(session_module.PROCEDURES, "line-up", lambda _, *given: TenASecond(*given))
    book = Book(tmp_path / "book.db")
    yield Session(book, lambda silence: pytest.fail("no link here"), "wires", "1.2.3")
    book.close()


@pytest.fixture
def client(session: Session) -> Iterator[TestClient]:
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as made:
        yield made
