"""The application: calls, sockets, errors as one line, screens."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse
from starlette.exceptions import HTTPException
from starlette.responses import Response

from fluxbench.base import ConflictError, DeckError, FluxbenchError, MisuseError
from fluxbench.session import NotNowError, Session, Trials
from fluxbench.web import (
    _calls,
    _captures,
    _deck,
    _exercises,
    _history,
    _interfaces,
    _lan_calls,
    _papers,
    _pictures,
    _sockets,
    _things,
    _words,
    _work_out,
)
from fluxbench.web._guard import Guard
from fluxbench.web._lan import Lan
from fluxbench.web._measuring import Measuring
from fluxbench.web._screens import Screens

STATIC = Path(__file__).parent / "static"
STATUS = {MisuseError: 400, NotNowError: 409, ConflictError: 409, DeckError: 502}


def build_app(
    session: Session,
    static: Path = STATIC,
    lan: Lan | None = None,
    trials: Trials | None = None,
) -> FastAPI:
    """The application around a session, which is started and closed with it.

    With `lan` it answers on the local network as well, to devices that are paired.
    """
    trials = Trials(session) if trials is None else trials
    audience = _sockets.Audience(session)
    measuring = Measuring(session)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        audience.begin(asyncio.get_running_loop())
        session.start()
        try:
            yield
        finally:
            audience.end()
            await asyncio.to_thread(measuring.end)
            await asyncio.to_thread(trials.end)
            await asyncio.to_thread(session.close)

    app = FastAPI(
        title="Fluxbench",
        version=str(session.state["bench"]["version"]),
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=life,
    )
    app.add_middleware(Guard, lan=lan)
    app.add_exception_handler(FluxbenchError, _refused)
    app.add_exception_handler(RequestValidationError, _misread)
    app.add_exception_handler(HTTPException, _failed)
    app.state.session, app.state.audience = session, audience
    app.state.measuring, app.state.trials = measuring, trials
    app.state.turned, app.state.lan = _deck.Once(), lan
    for part in (
        _calls, _captures, _deck, _exercises, _history, _interfaces, _lan_calls, _papers,
        _pictures, _things, _words, _work_out, _sockets,
    ):  # fmt: skip
        app.include_router(part.router)
    if (static / "index.html").exists():
        app.mount("/", Screens(static), name="screens")
    else:
        app.add_api_route("/", _no_screens, include_in_schema=False)
    return app


async def _no_screens() -> Response:
    return PlainTextResponse("The screens are not built; the API is at /api/openapi.json.\n")


async def _refused(_request: Request, error: Exception) -> Response:
    status = next((s for kind, s in STATUS.items() if isinstance(error, kind)), 500)
    return JSONResponse({"error": " ".join(str(error).split())}, status)


async def _misread(_request: Request, error: Exception) -> Response:
    first = error.errors()[0] if isinstance(error, RequestValidationError) else {}
    where = ".".join(str(part) for part in first.get("loc", ())[1:]) or "the body"
    line = f"{where}: {first.get('msg', 'cannot be read')}"
    return JSONResponse({"error": " ".join(line.split())}, 400)


async def _failed(_request: Request, error: Exception) -> Response:
    status, detail = 500, "it failed"
    if isinstance(error, HTTPException):
        status, detail = error.status_code, error.detail
    return JSONResponse({"error": " ".join(str(detail).split())}, status)
