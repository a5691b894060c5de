"""The deck controls on a port of this machine."""

import json
import socket
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import urlsplit

from fluxbench.base import MisuseError
from fluxbench.deck._server._hands import RefusedError, ServedDeck, answer

_HOST = "127.0.0.1"
_OWN_NAMES = (_HOST, "localhost")
_LONGEST_BODY = 65_536  # bytes


class ControlsServer:
    """Serves a deck's hands on 127.0.0.1 from a thread of its own; `lock` is held in every call.

    The port is taken at once (0: any free one), calls are answered from `start` on. MisuseError
    if the port is in use.
    """

    def __init__(self, port: int, lock: threading.Lock) -> None:
        try:
            self._server = _Server((_HOST, port), _Handler)
        except (OSError, OverflowError) as error:
            raise MisuseError(
                f"port {port} cannot be had ({getattr(error, 'strerror', None) or error}); "
                f"try --port {_free_port(port)}"
            ) from None
        self._server.lock = lock
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, name="controls"
        )

    @property
    def url(self) -> str:
        return f"http://{_HOST}:{self._server.server_port}"

    @property
    def last_used_s(self) -> float:
        """When somebody called last, on the clock that only goes forward."""
        return self._server.last_used_s

    def start(self, deck: ServedDeck) -> None:
        """Answer calls for this deck from now on."""
        self._server.deck = deck
        self._thread.start()

    def close(self) -> None:
        """Stop answering and give the port back."""
        if self._thread.is_alive():
            self._server.shutdown()
            self._thread.join()
        self._server.server_close()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    deck: ServedDeck
    lock: threading.Lock
    last_used_s = 0.0

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Somebody hung up in the middle of a call: nothing to be said about it."""


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    timeout = 5.0  # s, for one who connects and says nothing

    def do_GET(self) -> None:
        self._reply()

    def do_POST(self) -> None:
        self._reply()

    do_PUT = do_DELETE = do_PATCH = do_HEAD = do_GET

    def _reply(self) -> None:
        try:
            self._refuse_strangers()
            self.server.last_used_s = time.monotonic()
            body = self._body()
            with self.server.lock:
                content, status = answer(self.server.deck, self.command, self.path, body), 200
        except RefusedError as error:
            content, status = json.dumps({"error": str(error)}).encode(), error.status
            if status == 500:
                print(error, file=sys.stderr)
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)

    def _refuse_strangers(self) -> None:
        """Any web page can reach this machine's ports; none may work the deck."""
        hosts = [urlsplit("//" + self.headers.get("Host", _HOST)).hostname]
        if "Origin" in self.headers:
            hosts.append(urlsplit(self.headers["Origin"]).hostname)
        if any(host not in _OWN_NAMES for host in hosts):
            raise RefusedError(403, "only programs on this machine may work the deck")

    def _body(self) -> bytes:
        length = self.headers.get("Content-Length", "0")
        if not length.isdecimal() or int(length) > _LONGEST_BODY:
            raise RefusedError(400, f"the body must be at most {_LONGEST_BODY} bytes")
        return self.rfile.read(int(length))

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: standard error is for what went wrong."""


def _free_port(port: int) -> int:
    """The next port that can be had, for the message; 0 (any) if none near by."""
    for candidate in range(port + 1, min(port + 50, 65_536)):
        with socket.socket() as tried:
            try:
                tried.bind((_HOST, candidate))
            except OSError:
                continue
            return candidate
    return 0
