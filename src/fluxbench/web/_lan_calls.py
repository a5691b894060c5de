"""Pairing, devices, and who holds the controls."""

import asyncio
import json
import math
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import Field
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import JSONResponse, Response
from starlette.websockets import WebSocket

from fluxbench.web._calls import REFUSALS
from fluxbench.web._devices import KEPT_DAYS
from fluxbench.web._door import WHO
from fluxbench.web._lan import AT_DESK, DESK, Lan, Visitor
from fluxbench.web._models import Strict
from fluxbench.web._sockets import GONE, either, tell, until_closed

Answer = dict[str, Any]
OFF = "this bench answers on its own computer only; start it with --lan"

router = APIRouter(prefix="/api/lan", responses=REFUSALS)


class Pair(Strict):
    """The code from the desk, and what the device is to be called."""

    code: Annotated[str, Field(min_length=1, max_length=20)]
    name: Annotated[str, Field(max_length=80)] = ""


class Nothing(Strict):
    """No more is to be told."""


def _lan_of(connection: HTTPConnection) -> Lan:
    lan: Lan | None = connection.app.state.lan
    if lan is None:
        raise HTTPException(404, OFF)
    return lan


def _caller(connection: HTTPConnection) -> Visitor:
    who: Visitor | None = connection.scope.get(WHO, AT_DESK)
    if who is None:
        raise HTTPException(401, "this device is not paired")
    return who


Network = Annotated[Lan, Depends(_lan_of)]
Who = Annotated[Visitor, Depends(_caller)]


def _at_desk(who: Who) -> Visitor:
    if not who.is_desk:
        raise HTTPException(403, "that is done at the desk, on the bench's own computer")
    return who


Desk = Annotated[Visitor, Depends(_at_desk)]


@router.get("")
async def seen(request: Request, who: Who) -> Answer:
    """Who holds the controls; at the desk the code and the devices as well."""
    lan: Lan | None = request.app.state.lan
    return {"on": False} if lan is None else lan.seen_by(who)


@router.post("/pair")
async def pair(request: Request, lan: Network, body: Pair) -> Response:
    """Let this device in, by the code that stands at the desk."""
    if request.scope.get(WHO, AT_DESK) is not None:
        raise HTTPException(409, "this device needs no pairing, or has been paired")
    tried = lan.pairing.try_code("".join(body.code.split()))
    lan.tell()
    if not tried.right:
        status = 429 if tried.wait_s else 403
        wait = {"retry-after": str(math.ceil(tried.wait_s))} if tried.wait_s else None
        told = {"error": tried.line, "wait_s": math.ceil(tried.wait_s)}
        return JSONResponse(told, status, headers=wait)
    who, secret = lan.let_in(body.name)
    answer = JSONResponse({"id": who.id, "name": who.name})
    answer.set_cookie(
        lan.cookie, secret, max_age=KEPT_DAYS * 86_400, path="/", httponly=True, samesite="strict"
    )
    return answer


@router.post("/code")
async def draw(lan: Network, who: Desk, body: Nothing) -> Answer:
    """Draw another code, good for one device."""
    lan.pairing.open()
    lan.tell()
    return lan.seen_by(who)


@router.post("/close")
async def close(lan: Network, who: Desk, body: Nothing) -> Answer:
    """Let nobody else in."""
    lan.pairing.close()
    lan.tell()
    return lan.seen_by(who)


@router.post("/devices/{device}/revoke")
async def revoke(lan: Network, who: Who, device: str, body: Nothing) -> Answer:
    """Let a device in no longer: the desk any, a device itself."""
    if not who.is_desk and who.id != device:
        raise HTTPException(403, "other devices are revoked at the desk")
    found = lan.devices.named(device)
    if found is None:
        raise HTTPException(404, f"no device has the id {device!r}")
    lan.revoke(found)
    return lan.seen_by(who)


@router.post("/ask")
async def ask(lan: Network, who: Who, body: Nothing) -> Answer:
    """Ask whoever holds the controls for them."""
    other = lan.hand.ask
    if lan.hand.holder == who.id:
        raise HTTPException(409, "you hold the controls")
    if other is not None and other.by != who.id and other.by in lan.devices:
        raise HTTPException(409, f"{lan.name_of(other.by)} asks for them already")
    lan.hand.wish(who.id)
    lan.tell()
    return lan.seen_by(who)


@router.post("/give")
async def give(lan: Network, who: Who, body: Nothing) -> Answer:
    """Give the controls to whoever asks, or back to the desk."""
    if lan.hand.holder != who.id:
        raise HTTPException(403, f"{lan.name_of(lan.hand.holder)} holds the controls")
    lan.pass_to(DESK if lan.hand.ask is None else lan.hand.ask.by)
    return lan.seen_by(who)


@router.post("/keep")
async def keep(lan: Network, who: Who, body: Nothing) -> Answer:
    """Keep the controls though somebody asks; or ask no longer."""
    asked = lan.hand.ask
    if lan.hand.holder != who.id and (asked is None or asked.by != who.id):
        raise HTTPException(403, f"{lan.name_of(lan.hand.holder)} holds the controls")
    lan.hand.unwish()
    lan.tell()
    return lan.seen_by(who)


@router.post("/take")
async def take(lan: Network, who: Who, body: Nothing) -> Answer:
    """Take the controls: the desk always, a device once the holder is away or does not answer."""
    holder, asked = lan.hand.holder, lan.hand.ask
    if holder != who.id:
        waited = asked is not None and asked.by == who.id and lan.hand.wait_s() == 0.0
        if not (who.is_desk or lan.is_away(holder) or waited):
            line = f"{lan.name_of(holder)} holds the controls; ask for them, and take them if "
            raise HTTPException(403, line + "nobody answers")
        lan.pass_to(who.id)
    return lan.seen_by(who)


@router.websocket("/socket")
async def told(socket: WebSocket) -> None:
    """The same as `GET /api/lan`, whenever it changes."""
    lan: Lan | None = socket.app.state.lan
    if lan is None:
        await socket.close(1008, OFF)
        return
    await socket.accept()
    who: Visitor = socket.scope[WHO]
    ear = asyncio.create_task(until_closed(socket))
    try:
        with lan.watching() as changed:
            while not ear.done():
                changed.clear()
                await tell(socket, json.dumps(lan.seen_by(who), separators=(",", ":")))
                await either(changed, ear)
    except GONE:
        pass
    finally:
        ear.cancel()
