"""How a call is refused before it reaches anything."""

import json
import math

from starlette.types import Receive, Scope, Send

SAFE_METHODS = ("GET", "HEAD", "OPTIONS")


async def refuse(
    scope: Scope, receive: Receive, send: Send, status: int, line: str, wait_s: float = 0.0
) -> None:
    """Answer with one line, and with how long to wait; a socket is closed before it opens."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": line})
        return
    body = json.dumps({"error": line}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    if wait_s:
        headers.append((b"retry-after", b"%d" % math.ceil(wait_s)))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
