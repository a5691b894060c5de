"""The sockets: events in order and complete, meters only the newest, and what is left as sound."""

import asyncio
import json
from collections import deque
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.websockets import WebSocket, WebSocketDisconnect

from fluxbench.engine import Left
from fluxbench.session import Session, Shown, event

WAITING = 1000
PAGE = 100
"""Entries that are read at once for a client that comes back; one that hangs holds no more."""
TOO_SLOW = 1013
TAKES_WITHIN_S = 20.0
"""A client that takes nothing for so long has gone, or sleeps; it comes back with `since`."""
BLOCKS_WAITING = 10
"""Blocks of sound that wait for a client at most, 0.2 s; who is slower hears gaps."""


class Listener:
    """One client of the events socket."""

    def __init__(self) -> None:
        self.waiting: deque[Mapping[str, Any]] = deque()
        self.woken = asyncio.Event()
        self.too_slow = False

    def put(self, message: Mapping[str, Any]) -> None:
        """One more message; too many, and the client is cut off."""
        if len(self.waiting) >= WAITING:
            self.too_slow = True
            self.waiting.clear()
        if not self.too_slow:
            self.waiting.append(message)
        self.woken.set()


class Audience:
    """All who look on; what the session tells in its thread is handed over to the loop."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.listeners: set[Listener] = set()
        self.watchers: set[asyncio.Event] = set()
        self.ears: set[asyncio.Queue[Left]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        session.ledger.on_event = self._event
        session.on_meters = self._meters
        session.ears.on_left = self._left

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """Hand over to this loop from now on."""
        self._loop = loop

    def end(self) -> None:
        """Hand over nothing more."""
        self._loop = None

    def _event(self, message: Mapping[str, Any]) -> None:
        self._call(self._spread, message)

    def _meters(self) -> None:
        if self.watchers:
            self._call(self._wake)

    def _left(self, left: Left) -> None:
        self._call(self._sound, left)

    def lend(self, ear: "asyncio.Queue[Left]") -> None:
        """One more who listens to what is left."""
        self.ears.add(ear)
        self.session.ears.open = True

    def take_back(self, ear: "asyncio.Queue[Left]") -> None:
        """One less."""
        self.ears.discard(ear)
        self.session.ears.open = bool(self.ears)

    def _call(self, what: Any, *arguments: Any) -> None:
        loop = self._loop
        if loop is not None:
            try:
                loop.call_soon_threadsafe(what, *arguments)
            except RuntimeError:
                self._loop = None  # the loop has been closed

    def _spread(self, message: Mapping[str, Any]) -> None:
        for listener in self.listeners:
            listener.put(message)

    def _sound(self, left: Left) -> None:
        for ear in self.ears:
            if not ear.full():
                ear.put_nowait(left)

    def _wake(self) -> None:
        for watcher in self.watchers:
            watcher.set()


router = APIRouter(prefix="/api/sockets")
GONE = (WebSocketDisconnect, RuntimeError, TimeoutError)


@router.websocket("/events")
async def events(socket: WebSocket, since: Annotated[int | None, Query(ge=0)] = None) -> None:
    """Committed events in order, none left out."""
    audience: Audience = socket.app.state.audience
    await socket.accept()
    listener = Listener()
    audience.listeners.add(listener)
    ear = asyncio.create_task(until_closed(socket))
    try:
        await _tell_events(socket, audience.session, listener, since, ear)
    except GONE:
        pass  # it hung up while it was told something
    finally:
        audience.listeners.discard(listener)
        ear.cancel()


@router.websocket("/meters")
async def meters(socket: WebSocket) -> None:
    """The newest meters."""
    audience: Audience = socket.app.state.audience
    await socket.accept()
    woken = asyncio.Event()
    audience.watchers.add(woken)
    ear = asyncio.create_task(until_closed(socket))
    try:
        await _tell_meters(socket, audience.session, woken, ear)
    except GONE:
        pass
    finally:
        audience.watchers.discard(woken)
        ear.cancel()


@router.websocket("/left")
async def left(socket: WebSocket) -> None:
    """What is left of the track in hand beside its tones: 16-bit samples, little end first.

    Before the first block, and whenever track or rate change, a text tells both.
    """
    audience: Audience = socket.app.state.audience
    await socket.accept()
    ear: asyncio.Queue[Left] = asyncio.Queue(BLOCKS_WAITING)
    audience.lend(ear)
    hung_up = asyncio.create_task(until_closed(socket))
    try:
        await _sound_out(socket, ear, hung_up)
    except GONE:
        pass
    finally:
        audience.take_back(ear)
        hung_up.cancel()


async def tell(socket: WebSocket, message: str | bytes) -> None:
    """Send it; TimeoutError if the client does not take it, and its connection is full."""
    async with asyncio.timeout(TAKES_WITHIN_S):
        if isinstance(message, bytes):
            await socket.send_bytes(message)
        else:
            await socket.send_text(message)


async def _sound_out(
    socket: WebSocket, ear: "asyncio.Queue[Left]", hung_up: "asyncio.Task[None]"
) -> None:
    told: dict[str, int] = {}
    while not hung_up.done():
        waiting = asyncio.create_task(ear.get())
        await asyncio.wait((waiting, hung_up), return_when=asyncio.FIRST_COMPLETED)
        if not waiting.done():
            waiting.cancel()
            return
        block = waiting.result()
        facts = {"track": block.track + 1, "rate_hz": block.rate_hz}
        if facts != told:
            told = facts
            await tell(socket, _json(facts))
        await tell(socket, block.samples.astype("<i2").tobytes())


async def _tell_events(
    socket: WebSocket,
    session: Session,
    listener: Listener,
    since: int | None,
    ear: "asyncio.Task[None]",
) -> None:
    state = session.state
    last = int(state["seq"])
    while since is not None and since < last:
        rows = await asyncio.to_thread(session.book.own_entries, since, PAGE)
        for row in rows:
            if row.seq <= last:
                await tell(socket, _json(event(row)))
        since = rows[-1].seq if rows else last
    await tell(socket, _json({"what": "state", "seq": last, "set": state}))
    while not ear.done():
        if listener.too_slow:
            async with asyncio.timeout(TAKES_WITHIN_S):
                await socket.close(TOO_SLOW, "too slow; come back with since")
            return
        while listener.waiting:
            message = listener.waiting.popleft()
            if message["what"] == "bench" or message["seq"] > last:
                last = max(last, message["seq"])
                await tell(socket, _json(message))
        listener.woken.clear()
        if not listener.waiting:
            await either(listener.woken, ear)


async def _tell_meters(
    socket: WebSocket, session: Session, woken: asyncio.Event, ear: "asyncio.Task[None]"
) -> None:
    sent: Shown | None = None
    while not ear.done():
        woken.clear()
        shown = session.meters
        if shown.fast and shown is not sent:
            whole = sent is None or shown.slow_number != sent.slow_number
            sent = shown
            await tell(socket, _json(shown.whole if whole else shown.fast))
        await either(woken, ear)


async def either(event: asyncio.Event, ear: "asyncio.Task[None]") -> None:
    """Wait until something is to be told, or the client has hung up."""
    waiting = asyncio.create_task(event.wait())
    try:
        await asyncio.wait((waiting, ear), return_when=asyncio.FIRST_COMPLETED)
    finally:
        waiting.cancel()


async def until_closed(socket: WebSocket) -> None:
    """Clients say nothing; when one hangs up, this ends."""
    try:
        while True:
            if (await socket.receive())["type"] == "websocket.disconnect":
                return
    except RuntimeError:
        return


def _json(message: Mapping[str, Any]) -> str:
    return json.dumps(message, allow_nan=False, separators=(",", ":"))
