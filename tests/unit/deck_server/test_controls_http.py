"""The deck controls over HTTP, on a deck that keeps a list of what it was told."""

import http.client
import json
import threading
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from fluxbench.base import DeckError, MisuseError
from fluxbench.deck._server import ControlsServer
from fluxbench.links import HttpControls


class NotingDeck:
    """Answers everything, and refuses a tape called "none"."""

    rate_hz, tracks = 48_000, 2

    def __init__(self) -> None:
        self.told: list[Any] = []

    def process(self, send: np.ndarray) -> np.ndarray:
        return send

    def state(self) -> dict[str, Any]:
        return {"tracks": np.int64(2), "ready": np.array([1, 2]), "section": None}

    def turn(self, *given: Any, **named: Any) -> float:
        self.told.append((given, named))
        return 0.5

    def transport(self, **named: Any) -> dict[str, Any]:
        self.told.append(named)
        return self.state()

    def load(self, tape: str) -> dict[str, Any]:
        if tape == "none":
            raise DeckError("no tape 'none' here;\nthere is stock")
        if tape == "nan":
            return {"position_s": float("nan")}
        if tape == "bug":
            raise KeyError("bug")
        return self.state()

    def locate(self, **named: Any) -> dict[str, Any]:
        self.told.append(named)
        raise ValueError("no section 99")

    def truth(self) -> dict[str, Any]:
        return {"residual": {}, "calibration_wiped": np.bool_(False)}


@pytest.fixture
def deck() -> NotingDeck:
    return NotingDeck()


@pytest.fixture
def server(deck: NotingDeck) -> Iterator[ControlsServer]:
    server = ControlsServer(0, threading.Lock())
    server.start(deck)
    yield server
    server.close()


def call(
    server: ControlsServer,
    method: str,
    path: str,
    body: str | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[int, Any]:
    connection = http.client.HTTPConnection(server.url.removeprefix("http://"), timeout=60.0)
    connection.request(method, path, body, headers or {})
    response = connection.getresponse()
    content = json.loads(response.read())
    connection.close()
    return response.status, content


def test_the_calls_reach_the_deck_and_its_answers_come_back(
    server: ControlsServer, deck: NotingDeck
) -> None:
    controls = HttpControls(server.url, 60.0)
    assert controls.state() == {"tracks": 2, "ready": [1, 2], "section": None}
    assert controls.turn("bias", 0.1, track=2) == 0.5
    assert controls.turn("record_azimuth", -3) == 0.5
    assert controls.transport("record", [1], "sync")["tracks"] == 2
    assert controls.truth() == {"residual": {}, "calibration_wiped": False}
    assert deck.told == [
        ((), {"trimmer": "bias", "turns": 0.1, "track": 2}),
        ((), {"trimmer": "record_azimuth", "turns": -3}),
        {"state": "record", "ready": [1], "monitor": "sync"},
    ]
    assert call(server, "POST", "/turn", '{"trimmer": "bias", "turns": 1}') == (
        200,
        {"ok": True, "seconds": 0.5},
    )


def test_the_decks_refusal_is_400_with_its_one_line(server: ControlsServer) -> None:
    with pytest.raises(DeckError, match=r"^no tape 'none' here; there is stock$"):
        HttpControls(server.url, 60.0).load("none")
    with pytest.raises(DeckError, match=r"^no section 99$"):
        HttpControls(server.url, 60.0).locate(section=99)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/turn", "{"),
        ("/turn", ""),
        ("/turn", "[]"),
        ("/turn", "[" * 50_000),
        ("/turn", "{}"),
        ("/turn", '{"trimmer": "bias"}'),
        ("/turn", '{"trimmer": "bias", "turns": "1"}'),
        ("/turn", '{"trimmer": "bias", "turns": true}'),
        ("/turn", '{"trimmer": "bias", "turns": NaN}'),
        ("/turn", '{"trimmer": "bias", "turns": Infinity}'),
        ("/turn", '{"trimmer": "bias", "turns": 1' + "0" * 400 + "}"),
        ("/turn", '{"trimmer": "bias", "turns": 1, "track": 1.5}'),
        ("/turn", '{"trimmer": "bias", "turns": 1, "track": "1"}'),
        ("/turn", '{"trimmer": "bias", "turns": 1, "track": true}'),
        ("/turn", '{"trimmer": "bias", "turns": 1, "tracks": 1}'),
        ("/turn", '{"trimmer": 4, "turns": 1}'),
        ("/transport", '{"state": 1}'),
        ("/transport", '{"ready": 1}'),
        ("/transport", '{"ready": ["1"]}'),
        ("/transport", '{"speed": 1}'),
        ("/load", "{}"),
        ("/load", '{"tape": null}'),
        ("/locate", "{}"),
        ("/locate", '{"section": 1, "position_s": 2}'),
        ("/locate", '{"section": 1.0}'),
    ],
)
def test_what_is_wrong_in_a_body_is_400_and_never_reaches_the_deck(
    server: ControlsServer, deck: NotingDeck, path: str, body: str
) -> None:
    status, content = call(server, "POST", path, body)
    assert status == 400
    assert list(content) == ["error"]
    assert "\n" not in content["error"]
    assert deck.told == []


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/"), ("GET", "/turn"), ("POST", "/state"), ("GET", "/process"), ("PUT", "/turn")],
)
def test_other_calls_are_404(server: ControlsServer, method: str, path: str) -> None:
    status, content = call(server, method, path)
    assert status == 404
    assert content["error"].startswith(f"no call {method} {path}; there are GET /state")


def test_a_body_that_is_too_long_is_400(server: ControlsServer) -> None:
    assert call(server, "POST", "/turn", " " * 70_000)[0] == 400


def test_a_mistake_of_the_deck_is_500(
    server: ControlsServer, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(server, "POST", "/load", '{"tape": "bug"}')[0] == 500
    assert call(server, "POST", "/load", '{"tape": "nan"}')[0] == 500
    assert "the deck failed at /load" in capsys.readouterr().err


def test_web_pages_may_not_work_the_deck(server: ControlsServer) -> None:
    assert call(server, "GET", "/state", headers={"Origin": "http://a.example"})[0] == 403
    assert call(server, "GET", "/state", headers={"Host": "a.example:80"})[0] == 403
    assert call(server, "GET", "/state", headers={"Host": "localhost:80"})[0] == 200


def test_a_busy_port_is_one_line_with_another(server: ControlsServer) -> None:
    port = int(server.url.rsplit(":", 1)[1])
    with pytest.raises(MisuseError, match=rf"port {port} cannot be had.*try --port \d+"):
        ControlsServer(port, threading.Lock())


def test_a_call_waits_for_the_lock_of_the_samples(deck: NotingDeck) -> None:
    lock = threading.Lock()
    server = ControlsServer(0, lock)
    server.start(deck)
    with lock, pytest.raises(DeckError, match="timed out"):
        HttpControls(server.url, timeout_s=0.2).turn("bias", 1.0, 1)
    server.close()


def test_a_deck_that_sees_its_screws_answers_a_turn_with_where_it_leaves_one(
    server: ControlsServer, deck: NotingDeck, monkeypatch: pytest.MonkeyPatch
) -> None:
    stands = {"bias": [10.0, 20.0], "record_azimuth": [3.5]}
    monkeypatch.setattr(deck, "state", lambda: {"trimmers": {"stands_turns": stands}})
    body = '{"trimmer": "bias", "turns": 1, "track": 2}'
    assert call(server, "POST", "/turn", body)[1]["stands_turns"] == 20.0
    body = '{"trimmer": "record_azimuth", "turns": 1}'
    assert call(server, "POST", "/turn", body)[1]["stands_turns"] == 3.5
