"""What was found as captures of a book: one a path, a new version where something changed."""

import os
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from fluxbench.base import MisuseError
from fluxbench.captures.catalogue._row import Entry, object_of, shown

if TYPE_CHECKING:  # workers, which import this package, need no database
    from fluxbench.book import Place, Version

KIND = "captures"
LONGEST_NAME, LONGEST_PATH, LONGEST_REMEDY = 80, 4096, 20_000


class InBook:
    """Takes entries; the book is opened with the first one, so that a bench can have it before."""

    def __init__(
        self, place: "Place", now: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        """`BookError` at once for a book that cannot be opened."""
        from fluxbench.book import Book

        Book(place).close()
        self._place, self._now = place, now
        self._book: Book | None = None
        self._known: dict[str, Version] = {}
        self.written = 0

    def __enter__(self) -> "InBook":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._book is not None:
            self._book.close()

    def add(self, entry: Entry) -> None:
        """Write a capture, unless the book has it just so."""
        from fluxbench.book import Book, Writing

        if self._book is None:
            self._book = Book(self._place)
            found = self._book.things(KIND, retired=True)
            self._known = {str(v.facts["path"]): v for v in found if v.facts["path"] is not None}
        facts = facts_of(entry)
        place = str(facts["path"])
        before = self._known.get(place)
        if before is not None and all(before.facts[name] == told for name, told in facts.items()):
            return
        at = self._now().isoformat(timespec="milliseconds").replace("+00:00", "Z")
        name = uuid.uuid4().hex
        if before is None:
            facts |= {"name": shown(Path(place).name)[:LONGEST_NAME]}
            name = f"capture-{sha256(place.encode()).hexdigest()[:32]}"
        self._book.keep(Writing(
            name, KIND, None if before is None else before.id,
            {**facts, "measured_at": f"{at[:16]}Z"}, at, why="catalogue",
        ))  # fmt: skip
        self.written += 1


def facts_of(entry: Entry) -> dict[str, Any]:
    """The facts of a capture as the book has them; None for what is not known."""
    told = object_of(replace(entry, path=os.path.abspath(entry.path)))
    capture = told["measured"]["capture"] if "measured" in told else {}
    if len(told["path"]) > LONGEST_PATH:
        raise MisuseError(f"{told['path'][:80]}... is too long a path for the book")
    return {
        "path": told["path"],
        "sha256": told["sha256"],
        "verdict": told["verdict"],
        "remedy": told["remedy"][:LONGEST_REMEDY],
        "rate_hz": capture.get("sample_rate_hz"),
        "channels": capture.get("tracks"),
        "seconds": capture.get("duration_s"),
        "measured": told if capture else None,
    }
