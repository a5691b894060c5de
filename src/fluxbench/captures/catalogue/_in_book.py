"""What was found as captures of a book: one thing a path, a new version where it has changed."""

import os
import uuid
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from fluxbench.base import MisuseError
from fluxbench.captures.catalogue._row import Entry, row_of

if TYPE_CHECKING:  # workers, which import this package, need no database
    from fluxbench.book import Place, Version

KIND = "captures"
LONGEST_NAME, LONGEST_TEXT = 80, 4000


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
            self._known = {v.id: v for v in self._book.things(KIND, retired=True)}
        facts = facts_of(entry)
        place = str(facts["path"])
        thing = f"capture-{sha256(place.encode()).hexdigest()[:32]}"
        before = self._known.get(thing)
        if before is not None and all(
            _plain(before.facts.get(name)) == _plain(value) for name, value in facts.items()
        ):
            return
        at = self._now().isoformat(timespec="milliseconds").replace("+00:00", "Z")
        self._book.keep(Writing(
            thing if before is None else uuid.uuid4().hex, KIND,
            None if before is None else thing, facts, at, why="catalogue",
        ))  # fmt: skip
        self.written += 1


def facts_of(entry: Entry) -> dict[str, Any]:
    """The facts of a capture as the book has them; None for what is not known."""
    row = row_of(entry)
    path = os.path.abspath(entry.path)
    if len(path) > LONGEST_TEXT:
        raise MisuseError(f"{path[:80]}... is too long a path for the book")
    shown = row_of(Entry(path, entry.reel, ""))
    faults = str(row["faults"] or "")
    return {
        "name": _short(Path(str(shown["path"])).name),
        "sha256": entry.sha256 or None,
        "rate_hz": row["sample_rate_hz"],
        "channels": row["tracks"],
        "seconds": row["duration_s"],
        "path": shown["path"],
        "shelf": _short(str(row["reel"])),
        "verdict": row["verdict"],
        "remedy": str(row["remedy"])[:LONGEST_TEXT] or None,
        "faults": [_short(fault.strip()) for fault in faults.split(";") if fault.strip()],
        "recorded_with": _short(str(row["recorded"])) if row["recorded"] else None,
        "probability": row["confidence"],
    }


def _short(text: str) -> str:
    text = text.strip() or "?"
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 3]}..."


def _plain(value: Any) -> Any:
    """As it comes back out of the book: lists, and nothing where there is nothing."""
    if value in ([], (), None):
        return None
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, tuple) else value
