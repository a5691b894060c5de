"""Papers of a reel: label and track sheet, of a reel in the book or after a line-up."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from fluxbench.session import Session
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS

router = APIRouter(prefix="/api", responses=REFUSALS)

PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}}}
What = Literal["label", "track-sheet"]


class Told(BaseModel):
    """What is told with the call, and counts over what the book knows."""

    model_config = ConfigDict(extra="forbid")

    paper: str = "a4"
    title: str | None = None
    artist: str | None = None
    client: str | None = None
    date: str | None = None
    reel: str | None = None
    track: list[str] | None = None
    wound: str | None = None
    reel_diameter_in: float | None = None


Asked = Annotated[Told, Query()]


@router.get("/lineups/{lineup}/label", response_class=Response, responses=PDF)
def label_after(request: Request, session: Bench, lineup: str, told: Asked) -> Response:
    """Box label and spine of a reel that is recorded after a line-up, as PDF/A."""
    return _paper("label", request, session, lineup, told)


@router.get("/lineups/{lineup}/track-sheet", response_class=Response, responses=PDF)
def track_sheet_after(request: Request, session: Bench, lineup: str, told: Asked) -> Response:
    """The track sheet of a reel that is recorded after a line-up, as PDF/A."""
    return _paper("track-sheet", request, session, lineup, told)


@router.get("/book/reels/{thing}/label", response_class=Response, responses=PDF)
def label_of(request: Request, session: Bench, thing: str, told: Asked) -> Response:
    """Box label and spine of a reel in the book, as PDF/A."""
    return _paper("label", request, session, None, told, thing)


@router.get("/book/reels/{thing}/track-sheet", response_class=Response, responses=PDF)
def track_sheet_of(request: Request, session: Bench, thing: str, told: Asked) -> Response:
    """The track sheet of a reel in the book, as PDF/A."""
    return _paper("track-sheet", request, session, None, told, thing)


def _paper(
    what: What,
    request: Request,
    session: Session,
    lineup: str | None,
    told: Told,
    reel: str = "",
) -> Response:
    from fluxbench.sheets import (
        card_of_lineup,
        card_of_reel,
        contents_of,
        in_house_or_none,
        label_file_name,
        label_pdf,
        told_otherwise,
        track_sheet_pdf,
    )

    if lineup is None:
        if not session.book.versions("reels", reel):
            raise HTTPException(404, f"the book holds no reel {reel!r}")
        known = card_of_reel(session.book, reel)
    else:
        if all(row.id != lineup for row in session.book.lineups()):
            raise HTTPException(404, f"no line-up is called {lineup!r}")
        known = card_of_lineup(contents_of(session.book, lineup))
    given = told.model_dump(exclude={"paper", "track"})
    card = told_otherwise(known, {**given, "track_names": told.track})
    address = in_house_or_none(f"{request.url.scheme}://{request.url.netloc}")
    press = label_pdf if what == "label" else track_sheet_pdf
    pdf = press(card, str(session.state["bench"]["version"]), told.paper, address)
    name = {"content-disposition": f'inline; filename="{label_file_name(card, what)}"'}
    return Response(pdf, media_type="application/pdf", headers=name)
