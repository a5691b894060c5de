"""The built screens, held in memory and compressed once."""

import gzip
import mimetypes
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

COMPRESSED_ALREADY = (".woff2", ".png")
FOR_EVER = "public, max-age=31536000, immutable"
"""Files under `assets` carry a hash of what is in them in their name."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One file; `packed` is None where compressing gains nothing."""

    content: bytes
    packed: bytes | None
    media_type: str
    keep: str


class Screens:
    """Serves the files of a folder as they were when it was made; `/` is `index.html`."""

    def __init__(self, folder: Path) -> None:
        self._files: dict[str, Kept] = {}
        for file in folder.rglob("*"):
            if file.is_file():
                name = file.relative_to(folder).as_posix()
                self._files[name] = _kept(file, FOR_EVER if "/" in name else "no-cache")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer GET and HEAD; HTTPException 404 and 405 for anything else."""
        if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
            raise HTTPException(405)
        file = self._files.get(scope["path"].strip("/") or "index.html")
        if file is None:
            raise HTTPException(404)
        headers = {"Cache-Control": file.keep, "Vary": "Accept-Encoding"}
        content = file.content
        if file.packed is not None and _takes_gzip(Headers(scope=scope)):
            content, headers["Content-Encoding"] = file.packed, "gzip"
        await Response(content, 200, headers, file.media_type)(scope, receive, send)


def _kept(file: Path, keep: str) -> Kept:
    content = file.read_bytes()
    packed = None if file.suffix in COMPRESSED_ALREADY else gzip.compress(content, 9, mtime=0)
    media_type = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
    return Kept(content, packed, media_type, keep)


def _takes_gzip(headers: Headers) -> bool:
    accepted = headers.get("accept-encoding", "").replace(" ", "").split(",")
    weighted = [one for one in accepted if one.startswith("gzip;q=")]
    return "gzip" in accepted or any(one != "gzip;q=0" for one in weighted)
