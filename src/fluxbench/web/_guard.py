"""Who may call: any web page can reach this machine's ports, none but our own may use them."""

from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fluxbench.web._answers import SAFE_METHODS, refuse
from fluxbench.web._door import Door
from fluxbench.web._lan import Lan

OWN_NAMES = ("127.0.0.1", "localhost", "::1")
LONGEST_BODY = 262_144

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
    """Lets through what comes from this machine's own pages and programs, and short bodies.

    With `lan` also the bench's own pages on the local network, as far as its door lets them.
    """

    def __init__(self, app: ASGIApp, lan: Lan | None = None) -> None:
        self._app, self._lan = app, lan
        self._door = None if lan is None else Door(app, lan)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse strangers with 403, sockets included; else go on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        send = _with_headers(send)
        desk = self._lan is None or _came_from_here(scope)
        refused = refusal(scope, None if desk or self._lan is None else self._lan.hosts)
        if refused is not None:
            await refuse(scope, receive, send, *refused)
        elif self._door is None:
            await self._app(scope, receive, send)
        else:
            await self._door(scope, receive, send, desk=desk)


def _came_from_here(scope: Scope) -> bool:
    """Whether the call came in at an address that only this machine reaches."""
    server = scope.get("server")
    try:
        return server is not None and ip_address(server[0]).is_loopback
    except ValueError:
        return False


def refusal(scope: Scope, called: tuple[str, ...] | None = None) -> tuple[int, str] | None:
    """The status and the line with which a request is refused, None if it may pass.

    `called`: the hosts by which the bench may be called; None for this machine's own names.
    """
    headers = Headers(scope=scope)
    hosts, origins = headers.getlist("host"), headers.getlist("origin")
    host = hosts[0] if len(hosts) == 1 else ""
    if called is None and not _is_own(host):
        return 403, "this bench is called by its address on this machine only"
    if called is not None and host not in called:
        return 403, "this bench is called by the address that stands at the desk only"
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


def _with_headers(send: Send) -> Send:
    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _PAGES_MAY.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return told
