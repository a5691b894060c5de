"""Who may call: any web page can reach this machine's ports, none but our own may use them."""

import json
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OWN_NAMES = ("127.0.0.1", "localhost", "::1")
LONGEST_BODY = 262_144
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")

_PAGES_MAY = {
    "content-security-policy": (
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
        "media-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
}


class Guard:
    """Lets through what comes from this machine's own pages and programs, and short bodies."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse strangers with 403, sockets included; else go on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refused = refusal(scope)
        if refused is None:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": refused[1]})
        else:
            await _refuse(send, *refused)


def refusal(scope: Scope) -> tuple[int, str] | None:
    """The status and the line with which a request is refused, None if it may pass."""
    headers = Headers(scope=scope)
    hosts, origins = headers.getlist("host"), headers.getlist("origin")
    host = hosts[0] if len(hosts) == 1 else ""
    if not _is_own(host):
        return 403, "this bench is called by its address on this machine only"
    if len(origins) > 1 or (origins and origins[0] != f"http://{host}"):
        return 403, "only the bench's own pages may call it"
    if scope["type"] == "websocket" or scope["method"] in SAFE_METHODS:
        return None
    if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return 400, "a write is application/json"
    length = headers.get("content-length", "")
    if not length.isdecimal() or int(length) > LONGEST_BODY:
        return 413, f"the body must tell its length and have at most {LONGEST_BODY} bytes"
    return None


def _is_own(host: str) -> bool:
    try:
        parts = urlsplit("//" + host)
        _ = parts.port
    except ValueError:
        return False
    return parts.hostname in OWN_NAMES and "@" not in host


async def _refuse(send: Send, status: int, line: str) -> None:
    body = json.dumps({"error": line}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _PAGES_MAY.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return told
