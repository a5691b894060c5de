"""Exercises over the HTTP API: begun, hidden, handed in once, kept in the book, left."""

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from fluxbench.book import Book
from fluxbench.deck import KeptDeck, exercise_named, hidden_in
from fluxbench.deck._server import ControlsServer
from fluxbench.links import HttpControls
from fluxbench.session import Session
from fluxbench.session import _session as session_module
from fluxbench.web import build_app
from tests.benches.inline_host import InlineHost

OWN = "http://127.0.0.1:7355"
RATE_HZ = 8000


@pytest.fixture
def practising(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """A bench beside a practice deck whose hands are real; no samples flow."""
    monkeypatch.setattr(session_module, "EngineHost", InlineHost)
    lock = threading.Lock()
    server, book = ControlsServer(0, lock), Book(tmp_path / "book.db")
    server.start(KeptDeck(None, lock, {"tracks": 2, "rate_hz": RATE_HZ, "seed": 5}))
    hands = HttpControls(server.url, 30.0)
    session = Session(
        book, lambda silence: pytest.fail("no link here"), "deck", "1.2.3", hands, practice=True
    )
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as client:
        yield client
    server.close()
    book.close()


def post(client: TestClient, path: str, **body: Any) -> Any:
    return client.post(f"/api/{path}", json=body)


def test_an_exercise_from_its_begin_to_the_book(practising: TestClient) -> None:
    listed = practising.get("/api/exercises").json()
    assert listed["first"] is True
    names = [one["name"] for one in listed["exercises"]]
    assert len(names) == len(set(names)) >= 9
    assert "expert" not in json.dumps(listed)
    assert practising.get("/api/exercises/now").json() == {"exercise": None}
    assert post(practising, "exercises/hand-in", id="h0").status_code == 409
    assert post(practising, "exercises/begin", id="b0", name="none").status_code == 502

    name, seed = "dull-track", 1
    begun = post(practising, "exercises/begin", id="b1", name=name, seed=seed).json()
    assert begun["exercise"]["name"] == name
    wrong = hidden_in(exercise_named(name), seed).wrong
    assert wrong == (("card", (8,)),)

    # Nothing tells what it hides, and nothing lets anybody look.
    told = [practising.get(f"/api/{path}") for path in ("exercises/now", "deck", "state")]
    for answer in told:
        assert answer.status_code == 200
        for secret in ("card:", "teaches", "residual", "made_as", '"seed":1'):
            assert secret not in answer.text
    for refused in (
        post(practising, "deck/faults", on=[]),
        post(practising, "deck/renew", seed=3),
        post(practising, "deck/swap", what="cards", tracks=[1, 8]),
        post(practising, "deck/speed", speed_ips=30.0),
    ):
        assert refused.status_code == 409
        assert "hand it in first" in refused.json()["error"]
    assert practising.get("/api/deck/truth").status_code == 404
    assert practising.get("/api/deck/faults").json()["on"] is None

    unknown = {"what": "gremlins", "tracks": []}
    assert post(practising, "exercises/hand-in", id="h1", found=[unknown]).status_code == 502
    found = [{"what": "card", "tracks": [8]}, {"what": "hum", "tracks": []}]
    for _ in range(2):  # sent again, it stands
        done = post(practising, "exercises/hand-in", id="h1", found=found).json()
    verdict = done["verdict"]
    assert [row["verdict"] for row in verdict["answers"]] == ["right", "not so"]
    assert verdict["passed"] is False
    assert (done["seed"], done["handed_in"]) == (seed, "h1")
    assert verdict["expert"]["command"] == "python -m benchmarks.exercises"
    assert practising.get("/api/deck/faults").json()["on"] == ["card:8"]

    (kept,) = practising.get("/api/exercises/results").json()["results"]
    assert (kept["id"], kept["exercise"], kept["passed"]) == ("h1", name, False)
    assert kept["verdict"] == verdict
    again = practising.get("/api/exercises").json()
    assert again["first"] is False
    (row,) = [one for one in again["exercises"] if one["name"] == name]
    assert (row["done"], row["passed"], row["best"]["marks"]) == (1, False, verdict["marks"])

    assert post(practising, "exercises/leave", id="l1").json() == {"exercise": None}
    assert practising.get("/api/deck").json()["tracks"] == 2


def test_without_the_bench_is_without_it(practising: TestClient) -> None:
    assert post(practising, "exercises/begin", id="b1", name="by-the-meter").status_code == 200
    refused = post(practising, "commands", id="c1", command="begin")
    assert refused.status_code == 409
    assert "without the bench" in refused.json()["error"]
    post(practising, "exercises/leave", id="l1")
    assert post(practising, "commands", id="c2", command="begin", kind="part").status_code == 200
