"""Line-ups, journal, steps, readings and commands, written a page at a time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from fluxbench.base import BookError
from fluxbench.book._open import Lock, engine_for, make_folder, reader_of, upgrade
from fluxbench.book._tables import COMMANDS, JOURNAL, LINEUPS, READINGS, STEPS
from fluxbench.lineup import Kept


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the journal; `seq` is 0 before it is written. `at` is a UTC time, ISO 8601."""

    seq: int
    lineup: str | None
    at: str
    t_s: float
    what: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of one trimmer; `of` is the place in its page of the entry that tells of it.

    Reading and error are in `unit`, None where they are not valid; `track` is None for a stack.
    """

    of: int
    stage: str
    trimmer: str
    track: int | None
    kind: str
    """found, left or taken."""
    reading: float | None
    error: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class LineUpRow:
    """A line-up as it is listed; `plan` is what the deck showed with either tape."""

    id: str
    kind: str
    begun_at: str
    plan: Mapping[str, Any]
    closed: bool = False
    stopped: str | None = None


@dataclass(slots=True)
class Page:
    """What belongs together: all of it is written, or nothing."""

    lineup: str | None = None
    begun: LineUpRow | None = None
    entries: list[Entry] = field(default_factory=list)
    steps: list[Kept] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    answers: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    closed: bool = False
    stopped: str | None = None
    at: str = ""


class Records:
    """What a book holds, to be read and not written, beside a bench that may have it open.

    BookError if there is no book, or another version's.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._reader = reader_of(path)

    def close(self) -> None:
        """Close the file."""
        self._reader.dispose()

    def entries(self, since: int = 0, limit: int = 1000, lineup: str | None = None) -> list[Entry]:
        """Entries after number `since`, oldest first, of one line-up or of all."""
        rows = select(JOURNAL).where(JOURNAL.c.seq > since).order_by(JOURNAL.c.seq).limit(limit)
        if lineup is not None:
            rows = rows.where(JOURNAL.c.lineup == lineup)
        with self._reader.begin() as connection:
            return [Entry(**row) for row in connection.execute(rows).mappings()]

    def last_seq(self) -> int:
        """The number of the newest entry, 0 in an empty book."""
        with self._reader.begin() as connection:
            return int(connection.execute(select(func.max(JOURNAL.c.seq))).scalar() or 0)

    def lineups(self) -> list[LineUpRow]:
        """All line-ups, newest first."""
        rows = select(LINEUPS).order_by(LINEUPS.c.begun_at.desc(), LINEUPS.c.id.desc())
        with self._reader.begin() as connection:
            return [LineUpRow(**row) for row in connection.execute(rows).mappings()]

    def open_lineup(self) -> LineUpRow | None:
        """The newest line-up, if it was not brought to an end."""
        newest = self.lineups()[:1]
        return newest[0] if newest and not newest[0].closed else None

    def steps(self, lineup: str) -> list[Kept]:
        """What a line-up kept, in order."""
        rows = select(STEPS).where(STEPS.c.lineup == lineup).order_by(STEPS.c.row)
        with self._reader.begin() as connection:
            return [
                Kept(row["number"], row["name"], row["value"], row["state"], row["is_part"])
                for row in connection.execute(rows).mappings()
            ]

    def answer(self, command: str) -> Mapping[str, Any] | None:
        """What a command was answered, None if it never was."""
        row = select(COMMANDS.c.answer).where(COMMANDS.c.id == command)
        with self._reader.begin() as connection:
            answer: Mapping[str, Any] | None = connection.execute(row).scalar()
        return answer


class Book(Records):
    """A book in a SQLite file. One bench may have it open; one thread of it writes.

    BookError if another bench has it, or it is no book, or a newer one's.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        make_folder(path.parent)
        self._lock = Lock(path)
        self._writer = engine_for(path, writes=True)
        self._reader = engine_for(path, writes=False)
        try:
            upgrade(self._writer, path)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the file and let another bench have it."""
        self._writer.dispose()
        super().close()
        self._lock.release()

    def write(self, page: Page) -> list[Entry]:
        """Commit a page; its entries with their numbers. BookError, and nothing is written."""
        try:
            with self._writer.begin() as connection:
                entries = _write(connection, page)
        except SQLAlchemyError as error:
            reason = " ".join(str(getattr(error, "orig", None) or error).split())
            raise BookError(
                f"the book {self.path} cannot be written ({reason}); "
                "is the disk full? What is taken waits until it can"
            ) from None
        return entries


def _write(connection: Connection, page: Page) -> list[Entry]:
    if page.begun is not None:
        new = page.begun
        connection.execute(
            insert(LINEUPS).values(
                id=new.id, kind=new.kind, begun_at=new.begun_at, plan=new.plan, closed=False
            )
        )
    entries: list[Entry] = []
    for entry in page.entries:
        row = {
            "lineup": entry.lineup,
            "at": entry.at,
            "t_s": entry.t_s,
            "what": entry.what,
            "facts": entry.facts,
        }
        key = connection.execute(insert(JOURNAL).values(row)).inserted_primary_key
        seq = int(key[0]) if key is not None else 0
        entries.append(Entry(seq=seq, **row))  # type: ignore[arg-type]
    _write_all(connection, STEPS, [_step(page.lineup, kept) for kept in page.steps])
    _write_all(
        connection, READINGS, [_reading(page.lineup, entries, taken) for taken in page.readings]
    )
    _write_all(
        connection,
        COMMANDS,
        [{"id": key, "at": page.at, "answer": dict(told)} for key, told in page.answers.items()],
    )
    if page.closed:
        row_of = LINEUPS.c.id == page.lineup
        ended = update(LINEUPS).where(row_of).values(closed=True, stopped=page.stopped)
        connection.execute(ended)
    return entries


def _write_all(connection: Connection, table: Any, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), rows)


def _step(lineup: str | None, kept: Kept) -> dict[str, Any]:
    return {
        "lineup": lineup,
        "number": kept.number,
        "name": kept.name,
        "is_part": kept.is_part,
        "value": kept.value,
        "state": dict(kept.state),
    }


def _reading(lineup: str | None, entries: Sequence[Entry], taken: Reading) -> dict[str, Any]:
    return {
        "lineup": lineup,
        "seq": entries[taken.of].seq,
        "stage": taken.stage,
        "trimmer": taken.trimmer,
        "track": taken.track,
        "kind": taken.kind,
        "reading": taken.reading,
        "error": taken.error,
        "unit": taken.unit,
    }
