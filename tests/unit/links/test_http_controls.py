"""The HTTP hands against a small scripted server, and against none."""

import json
import socket
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest

from fluxbench.base import DeckError, MisuseError
from fluxbench.links import HttpControls


class Script(HTTPServer):
    """Answers every call with `answer`, and keeps what was asked."""

    answer: tuple[int, bytes] = (200, b"{}")
    drops = 0
    """So many calls to come are heard and not answered."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.asked: list[tuple[str, str, Any]] = []
        self.url = f"http://127.0.0.1:{self.server_port}"


class _Handler(BaseHTTPRequestHandler):
    server: Script

    def do_GET(self) -> None:
        length = int(self.headers.get("Content-Length", 0))
        body = json.loads(self.rfile.read(length)) if length else None
        self.server.asked.append((self.command, self.path, body))
        if self.server.drops:
            self.server.drops -= 1
            return
        status, content = self.server.answer
        self.send_response(status)
        self.end_headers()
        self.wfile.write(content)

    do_POST = do_GET

    def log_message(self, format: str, *args: Any) -> None:
        pass


@pytest.fixture
def script() -> Iterator[Script]:
    server = Script()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def test_calls_are_the_contracts(script: Script) -> None:
    controls = HttpControls(script.url + "/", 60.0)
    script.answer = (200, b'{"ok": true, "seconds": 0.4}')
    assert controls.turn("bias", 0.1, track=3) == 0.4
    controls.turn("record_azimuth", -1.5)
    controls.transport("record", (1, 2), "reproduce")
    controls.transport(ready=[])
    controls.load("calibration")
    controls.locate(section=3)
    controls.locate(position_s=60.0)
    assert controls.state() == {"ok": True, "seconds": 0.4}
    controls.truth()
    assert script.asked == [
        ("POST", "/turn", {"trimmer": "bias", "turns": 0.1, "track": 3}),
        ("POST", "/turn", {"trimmer": "record_azimuth", "turns": -1.5}),
        ("POST", "/transport", {"state": "record", "ready": [1, 2], "monitor": "reproduce"}),
        ("POST", "/transport", {"ready": []}),
        ("POST", "/load", {"tape": "calibration"}),
        ("POST", "/locate", {"section": 3}),
        ("POST", "/locate", {"position_s": 60.0}),
        ("GET", "/state", None),
        ("GET", "/truth", None),
    ]


def test_a_refusal_is_the_decks_own_line(script: Script) -> None:
    script.answer = (400, b'{"error": "no tape \'x\' here;\\n there is stock"}')
    with pytest.raises(DeckError) as refused:
        HttpControls(script.url, 60.0).load("x")
    assert str(refused.value) == "no tape 'x' here; there is stock"


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ((200, b"<html>"), "is no deck"),
        ((200, b"[1]"), "is no deck"),
        ((502, b"<html>"), "answered /state with 502"),
        ((400, b'"no"'), "answered /state with 400"),
    ],
)
def test_what_is_no_deck_is_said(script: Script, answer: tuple[int, bytes], says: str) -> None:
    script.answer = answer
    with pytest.raises(DeckError, match=says):
        HttpControls(script.url, 60.0).state()


def test_nobody_there_is_one_line() -> None:
    with socket.socket() as held:  # bound but not listening: nobody else gets the port
        held.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{held.getsockname()[1]}"
        with pytest.raises(DeckError, match=f"no deck answers at {url}.*refused") as refused:
            HttpControls(url).state()
    assert "\n" not in str(refused.value)


def test_one_who_never_answers_is_given_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        url = f"http://127.0.0.1:{deaf.getsockname()[1]}"
        with pytest.raises(DeckError, match=r"no deck answers.*timed out"):
            HttpControls(url, timeout_s=0.1).state()


def test_a_proxy_in_the_environment_is_not_asked(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:1")
    assert HttpControls(script.url, 60.0).state() == {}


@pytest.mark.parametrize("url", ["127.0.0.1:8765", "ftp://127.0.0.1", "http://", "file:///etc"])
def test_an_address_that_is_none_is_misuse(url: str) -> None:
    with pytest.raises(MisuseError, match="no address of deck controls"):
        HttpControls(url)


def test_a_connection_dropped_once_is_tried_again(script: Script) -> None:
    controls, script.drops = HttpControls(script.url, 60.0), 1
    assert controls.load("stock") == {}
    assert len(script.asked) == 2


def test_a_connection_dropped_twice_is_one_line(script: Script) -> None:
    controls, script.drops = HttpControls(script.url, 60.0), 2
    with pytest.raises(DeckError, match=r"^no deck answers at [^\n]*$"):
        controls.transport(state="play")


def test_a_turn_that_may_have_been_made_is_not_made_twice(script: Script) -> None:
    controls, script.drops = HttpControls(script.url, 60.0), 1
    with pytest.raises(DeckError):
        controls.turn("bias", 0.1, track=1)
    assert len(script.asked) == 1


@pytest.mark.parametrize("seconds", [b"Infinity", b"NaN", b"-1", b'"soon"', b"null"])
def test_seconds_that_no_hand_needs_are_refused(script: Script, seconds: bytes) -> None:
    script.answer = (200, b'{"ok": true, "seconds": ' + seconds + b"}")
    with pytest.raises(DeckError, match="how long the turn takes"):
        HttpControls(script.url, 60.0).turn("bias", 0.1, track=1)
