"""State, events, commands, line-ups."""

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from fluxbench.base import MisuseError
from fluxbench.book import Entry, LineUpRow
from fluxbench.session import Command, Session, begun_with, bias_picture, event, named_interface
from fluxbench.web._bench import Bench
from fluxbench.web._command_models import AnyCommand
from fluxbench.web._deck import refuse_advice
from fluxbench.web._models import (
    Begin,
    Done,
    Events,
    Journal,
    LineUpListed,
    LineUps,
    Refused,
)

PAGE = 1000
ANSWERS_WITHIN_S = 8.0
REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": Refused} for status in (400, 403, 404, 409, 502, 503)
}


router = APIRouter(prefix="/api", responses=REFUSALS)


@router.get("/state")
def state(session: Bench) -> dict[str, Any]:
    """What stands on the screen."""
    return dict(session.state)


@router.get("/events")
def events(session: Bench, since: Annotated[int, Query(ge=0)] = 0) -> Events:
    """Committed events after a number."""
    rows = session.book.own_entries(since, PAGE)
    return Events.model_validate(
        {"events": [event(row) for row in rows], "seq": session.state["seq"]}
    )


@router.get("/meters")
def meters(session: Bench) -> dict[str, Any]:
    """The newest meters, for whoever does not want a socket."""
    return session.meters.whole


@router.get("/bias/{track}")
def bias(session: Bench, track: int) -> dict[str, Any]:
    """The bias picture of a track."""
    found = session.picture_of(track)
    if found is None:
        raise HTTPException(404, f"bias of track {track} has not been measured in this run")
    return bias_picture(*found)


@router.post("/commands")
async def commands(session: Bench, command: AnyCommand) -> Done:
    """Carry out one command, once."""
    fields = command.model_dump(exclude={"id", "command"})
    if isinstance(command, Begin):
        fields["plan"] = await asyncio.to_thread(_begun_with, session, fields)
    future = session.submit(Command(command.id, command.command, fields))
    try:
        answer = await asyncio.wait_for(asyncio.wrap_future(future), ANSWERS_WITHIN_S)
    except TimeoutError:
        raise HTTPException(
            503, "the bench is not ready yet; send the command again with the same id"
        ) from None
    return Done.model_validate(answer)


@router.get("/lineups")
def lineups(session: Bench, deck: str | None = None) -> LineUps:
    """All line-ups, or those of one deck."""
    rows = session.book.lineups() if deck is None else session.book.lineups_of(deck)[::-1]
    return LineUps(lineups=[_listed(row) for row in rows])


@router.get("/lineups/{lineup}/journal")
def journal(session: Bench, lineup: str) -> Journal:
    """The journal of one line-up."""
    rows: list[Entry] = []
    while more := session.book.entries(rows[-1].seq if rows else 0, PAGE, lineup):
        rows += more
    if not rows:
        raise HTTPException(404, f"no line-up is called {lineup!r}")
    return Journal.model_validate({"lineup": lineup, "journal": [event(row) for row in rows]})


@router.get(
    "/lineups/{lineup}/sheet",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
def sheet(request: Request, session: Bench, lineup: str, paper: str = "a4") -> Response:
    """The sheet of a line-up as PDF/A, of one that still runs as far as it has come."""
    if all(row.id != lineup for row in session.book.lineups()):
        raise HTTPException(404, f"no line-up is called {lineup!r}")
    from fluxbench.sheets import contents_of, file_name, in_house_or_none, sheet_pdf

    contents = contents_of(session.book, lineup)
    address = in_house_or_none(f"{request.url.scheme}://{request.url.netloc}")
    pdf = sheet_pdf(contents, str(session.state["bench"]["version"]), paper, address)
    name = {"content-disposition": f'inline; filename="{file_name(contents)}"'}
    return Response(pdf, media_type="application/pdf", headers=name)


def _begun_with(session: Session, fields: dict[str, Any]) -> dict[str, Any]:
    """What the deck shows, or the book knows of it, and what else the book knows."""
    given = fields["plan"]
    if session.controls is not None:
        refuse_advice(session, session.controls)
    if fields["kind"] == "reel" and fields["reel"] is None:
        fields["reel"] = _label(session)
    shown = _shown(session) if given is None else given
    link = session.state["bench"]["link"]
    if shown is None and fields.get("interface") is None:
        fields["interface"] = named_interface(session.book, link["name"])
    return begun_with(session.book, fields, shown)


def _label(session: Session) -> dict[str, Any]:
    """What the label of the deck's own reel from elsewhere says."""
    if session.controls is None or "reel" not in session.controls.state()["tapes"]:
        raise MisuseError("say what the reel's label says: give `reel` with the command")
    told: dict[str, Any] = session.controls.load("reel")["data_sheet"]
    return told


def _shown(session: Session) -> dict[str, Any] | None:
    """What the deck shows with either tape, None of one that cannot be asked."""
    if session.controls is None:
        return None
    calibration = session.controls.load("calibration")
    return {"calibration": dict(calibration), "stock": dict(session.controls.load("stock"))}


def _listed(row: LineUpRow) -> LineUpListed:
    stock = row.plan["stock"]
    return LineUpListed(
        id=row.id,
        kind=row.kind,
        begun_at=row.begun_at,
        tracks=stock["tracks"],
        speed_ips=stock["speed_ips"],
        closed=row.closed,
        stopped=row.stopped,
        deck=row.deck,
        tape=row.tape,
        batch=row.batch,
    )
