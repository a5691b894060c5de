"""The door to the local network: unpaired devices get the page that asks for the code, paired ones
what they may, and nobody writes but whoever holds the controls."""

import asyncio
import json
from contextlib import suppress
from pathlib import Path

from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fluxbench.web._answers import SAFE_METHODS, refuse
from fluxbench.web._lan import AT_DESK, PAGES_AT_MOST, Lan, Visitor
from fluxbench.web._limits import Limit
from fluxbench.web._screens import Screens

WHO = "fluxbench.who"
"""Where a scope says who calls."""
PAIR = "/api/lan/pair"
PAGE = {"/", "/pair.js", "/pair.css"}
BODY_WITHIN_S = 10.0
CLOSED_WITHIN_S = 1.0
REVOKED: Message = {"type": "websocket.close", "code": 1008, "reason": "revoked"}
UNPAIRED = "this device is not paired; open the bench's page on it and give the code from the desk"


class Door:
    """Stands behind the guard, in front of everything else."""

    def __init__(self, app: ASGIApp, lan: Lan) -> None:
        self._app, self._lan = app, lan
        self._page = Screens(Path(__file__).parent / "pairing")
        self._writes = Limit(80, 1 / 40, lan.clock_s)
        self._silences = Limit(20, 1 / 10, lan.clock_s)
        self._knocks = Limit(10, 3.0, lan.clock_s)

    async def __call__(self, scope: Scope, receive: Receive, send: Send, *, desk: bool) -> None:
        """Let a call through as far as its maker may; `desk`: it came from this machine."""
        who = AT_DESK if desk else self._lan.visitor_of(_cookies(scope).get(self._lan.cookie))
        if who is None:
            await self._unpaired(scope, receive, send)
            return
        scope = {**scope, WHO: who}
        if scope["type"] == "websocket":
            await self._listens(who, scope, receive, send)
        elif scope["method"] in SAFE_METHODS:
            await self._app(scope, receive, send)
        else:
            await self._writes_to(who, scope, receive, send)

    async def _unpaired(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await refuse(scope, receive, send, 401, UNPAIRED)
        elif scope["method"] in ("GET", "HEAD") and scope["path"] in PAGE:
            await self._page(scope, receive, send)
        elif scope["method"] == "POST" and scope["path"] == PAIR:
            wait_s = self._knocks.wait_s(_address(scope))
            if wait_s:
                await refuse(scope, receive, send, 429, "too often; wait a little", wait_s)
            else:
                await self._app({**scope, WHO: None}, receive, send)
        else:
            await refuse(scope, receive, send, 401, UNPAIRED)

    async def _writes_to(self, who: Visitor, scope: Scope, receive: Receive, send: Send) -> None:
        body = await _body(receive)
        if body is None:
            await refuse(scope, receive, send, 408, "the body did not come in time")
            return
        silence = scope["path"] == "/api/commands" and _is_silence(body)
        limit = self._silences if silence else self._writes
        wait_s = 0.0 if who.is_desk else limit.wait_s(who.id)
        again = _replayed(body, receive)
        if wait_s:
            await refuse(scope, receive, send, 429, "too often; wait a little", wait_s)
        elif silence or scope["path"].startswith("/api/lan/"):
            await self._app(scope, again, send)
        else:
            async with self._lan.hand.writing(who.id) as may:
                if may:
                    await self._app(scope, again, send)
                    return
            if who.id == self._lan.hand.holder:
                line = "what the hand before has begun has not ended yet; try again"
                await refuse(scope, receive, send, 503, line)
                return
            holder = self._lan.name_of(self._lan.hand.holder)
            line = f"{holder} holds the controls; ask for them, or take them at the desk"
            await refuse(scope, receive, send, 403, line)

    async def _listens(self, who: Visitor, scope: Scope, receive: Receive, send: Send) -> None:
        """A socket, for as long as its owner is let in."""
        with self._lan.listening(who) as gone:
            if gone is None:
                line = f"{PAGES_AT_MOST} sockets of this device are open already"
                await refuse(scope, receive, send, 429, line)
                return
            app = asyncio.ensure_future(self._app(scope, receive, send))
            revoked = asyncio.create_task(gone.wait())
            try:
                await asyncio.wait((app, revoked), return_when=asyncio.FIRST_COMPLETED)
                if not app.done():
                    app.cancel()
                    with suppress(asyncio.CancelledError):
                        await app
                    closing: Message = {
                        "type": "websocket.close",
                        "code": 1008,
                        "reason": "revoked",
                    }
                    with suppress(RuntimeError, TimeoutError):
                        await asyncio.wait_for(send(closing), CLOSED_WITHIN_S)
                else:
                    app.result()
            finally:
                revoked.cancel()
                app.cancel()


def _cookies(scope: Scope) -> dict[str, str]:
    """As browsers write them, those of other programs on the same computer among them."""
    return HTTPConnection(scope).cookies


def _address(scope: Scope) -> str:
    client = scope.get("client")
    return str(client[0]) if client else ""


async def _body(receive: Receive) -> bytes | None:
    """What was sent, whose length the guard knows; None if it does not come, or not in time."""
    body = bytearray()
    with suppress(TimeoutError):
        async with asyncio.timeout(BODY_WITHIN_S):
            while (message := await receive())["type"] == "http.request":
                body += message.get("body", b"")
                if not message.get("more_body", False):
                    return bytes(body)
    return None


def _replayed(body: bytes, receive: Receive) -> Receive:
    told = False

    async def again() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _is_silence(body: bytes) -> bool:
    """The key that ends all tones is everybody's; sending again is not."""
    try:
        told = json.loads(body)
    except ValueError:
        return False
    return isinstance(told, dict) and told.get("command") == "silence" and told.get("on") is True
