"""A client in a process of its own: carries out one JSON object a line, answers with one.

`http`: one request. `open`: a socket. `hear`: its next message. `until_closed`: how it ends.
"""

import json
import sys
import time
from contextlib import ExitStack
from http.client import HTTPConnection
from socket import create_connection
from typing import Any

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidStatus
from websockets.sync.client import ClientConnection, connect

PATIENCE_S = 240.0
sockets: dict[str, ClientConnection] = {}
opened = ExitStack()


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
        sockets[told["name"]] = opened.enter_context(opening)
    except InvalidStatus as refused:
        return {"status": refused.response.status_code}
    except (InvalidHandshake, OSError) as error:
        return {"status": 0, "text": type(error).__name__}
    return {"status": 101}


def hear(told: dict[str, Any]) -> dict[str, Any]:
    return {"message": json.loads(sockets[told["name"]].recv(timeout=PATIENCE_S))}


def until_closed(told: dict[str, Any]) -> dict[str, Any]:
    began_s = time.monotonic()
    while time.monotonic() - began_s < told["within_s"]:
        try:
            sockets[told["name"]].recv(timeout=0.05)
        except TimeoutError:
            continue
        except ConnectionClosed as closed:
            code = None if closed.rcvd is None else closed.rcvd.code
            return {"closed": True, "code": code, "after_s": time.monotonic() - began_s}
    return {"closed": False}


DO = {"http": http, "open": open_socket, "hear": hear, "until_closed": until_closed}

if __name__ == "__main__":
    with opened:
        for line in sys.stdin:
            asked = json.loads(line)
            print(json.dumps(DO[asked.pop("do")](asked)), flush=True)
