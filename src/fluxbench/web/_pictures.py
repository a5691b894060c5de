"""Pictures of the book as files: what they were checked to be, and never anything else."""

from typing import Any

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from fluxbench.book import image_of
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS

router = APIRouter(prefix="/api", responses=REFUSALS)

IMAGE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"image/jpeg": {}, "image/png": {}}},
    304: {"description": "The browser has it."},
}
ALONE = "default-src 'none'; sandbox; frame-ancestors 'none'"
"""Opened by itself, a picture may do nothing."""


@router.get("/book/pictures/{thing}/image", response_class=Response, responses=IMAGE)
def image(request: Request, session: Bench, thing: str) -> Response:
    """A picture of the book as the JPEG or PNG file that it is."""
    versions = session.book.versions("pictures", thing)
    if not versions:
        raise HTTPException(404, f"the book has no picture {thing!r}")
    mark = f'"{versions[-1].row}"'
    kept = {"etag": mark, "cache-control": "private, no-cache", "content-security-policy": ALONE}
    if request.headers.get("if-none-match") == mark:
        return Response(status_code=304, headers=kept)
    told = image_of(versions[-1].facts["image"])
    kept["content-disposition"] = f'inline; filename="card.{told.media_type.partition("/")[2]}"'
    return Response(told.data, media_type=told.media_type, headers=kept)
