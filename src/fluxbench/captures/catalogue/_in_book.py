"""What was found as captures of a book: one a path, a new version where something changed."""

import os
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from types import TracebackType
from typing import TYPE_CHECKING

from fluxbench.base import MisuseError
from fluxbench.captures.catalogue._for_book import facts_found, name_of
from fluxbench.captures.catalogue._row import Entry, object_of

if TYPE_CHECKING:  # workers, which import this package, need no database
    from fluxbench.book import Place, Version

KIND = "captures"
LONGEST_PATH = 4096


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
            kept = self._book.things(KIND, retired=True)
            self._known = {str(v.facts["path"]): v for v in kept if v.facts["path"] is not None}
        at = self._now().isoformat(timespec="milliseconds").replace("+00:00", "Z")
        told = object_of(replace(entry, path=os.path.abspath(entry.path)))
        place = told["path"]
        if len(place) > LONGEST_PATH:
            raise MisuseError(f"{place[:80]}... is too long a path for the book")
        found = facts_found(told, at)
        before = self._known.get(place)
        if before is not None and all(
            before.facts[name] == known for name, known in found.items() if name != "measured_at"
        ):
            return
        key, thing, facts = uuid.uuid4().hex, None if before is None else before.id, found
        if before is None:
            facts = {"name": name_of(place), "path": place, **found}
            key = f"capture-{sha256(place.encode()).hexdigest()[:32]}"
        self._book.keep(Writing(key, KIND, thing, facts, at, why="catalogue"))
        self.written += 1
