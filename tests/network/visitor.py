"""A client in a process of its own: carries out one JSON object a line, answers with one.

`http`: one request. `open`: a socket. `hear`: its next message. `until_closed`: how it ends. What
comes by a socket is taken at once, whatever is done meanwhile: who takes nothing is let go.
"""

import json
import queue
import sys
import threading
import time
from contextlib import ExitStack
from http.client import HTTPConnection
from socket import create_connection
from typing import Any

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidStatus
from websockets.sync.client import ClientConnection, connect

PATIENCE_S = 240.0
opened = ExitStack()


class Reader:
    """Takes what comes by a socket, until it is closed."""

    def __init__(self, socket: ClientConnection) -> None:
        self.messages: queue.Queue[str | bytes] = queue.Queue()
        self.code: int | None = None
        self._socket = socket
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        try:
            while True:
                self.messages.put(self._socket.recv())
        except ConnectionClosed as closed:
            self.code = None if closed.rcvd is None else closed.rcvd.code

    def is_closed(self, within_s: float) -> bool:
        self._thread.join(within_s)
        return not self._thread.is_alive()


sockets: dict[str, Reader] = {}


def http(told: dict[str, Any]) -> dict[str, Any]:
    connection = HTTPConnection(told["address"], told["port"], timeout=told["within_s"])
    try:
        connection.putrequest(told["method"], told["path"], skip_host=True)
        for name, value in told["headers"].items():
            connection.putheader(name, value)
        connection.endheaders()
        if told["body"] is not None:
            connection.send(told["body"].encode())
        answer = connection.getresponse()
        text = answer.read().decode(errors="replace")
        return {"status": answer.status, "headers": dict(answer.getheaders()), "text": text}
    except OSError as error:
        return {"status": 0, "headers": {}, "text": type(error).__name__}
    finally:
        connection.close()


def open_socket(told: dict[str, Any]) -> dict[str, Any]:
    headers = dict(told["headers"])
    host = headers.pop("Host")
    try:
        opening = connect(
            f"ws://{host}{told['path']}",
            sock=create_connection((told["address"], told["port"]), PATIENCE_S),
            additional_headers=headers,
            open_timeout=PATIENCE_S,
            proxy=None,
        )
        sockets[told["name"]] = Reader(opened.enter_context(opening))
    except InvalidStatus as refused:
        return {"status": refused.response.status_code}
    except (InvalidHandshake, OSError) as error:
        return {"status": 0, "text": type(error).__name__}
    return {"status": 101}


def hear(told: dict[str, Any]) -> dict[str, Any]:
    return {"message": json.loads(sockets[told["name"]].messages.get(timeout=PATIENCE_S))}


def until_closed(told: dict[str, Any]) -> dict[str, Any]:
    began_s, reader = time.monotonic(), sockets[told["name"]]
    if not reader.is_closed(told["within_s"]):
        return {"closed": False}
    return {"closed": True, "code": reader.code, "after_s": time.monotonic() - began_s}


DO = {"http": http, "open": open_socket, "hear": hear, "until_closed": until_closed}

if __name__ == "__main__":
    with opened:
        for line in sys.stdin:
            asked = json.loads(line)
            print(json.dumps(DO[asked.pop("do")](asked)), flush=True)
