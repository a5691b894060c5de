"""The words of the trade, each in a sentence or two: one place for screens, scripts and docs."""

import json
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(prefix="/api")
WORDS = Path(__file__).with_name("words.json")


@cache
def words_told() -> list[dict[str, Any]]:
    """Every word: `name`, `word`, `text`, `source`, and `also`, other names that lead to it."""
    told: list[dict[str, Any]] = json.loads(WORDS.read_text(encoding="utf-8"))["words"]
    return told


@router.get("/words")
def words() -> Response:
    """All words, in the order of the alphabet."""
    content = json.dumps({"words": words_told()}, ensure_ascii=False)
    return Response(content, media_type="application/json")
