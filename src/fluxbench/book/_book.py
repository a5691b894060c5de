"""What a book holds, read and written: line-ups a page at a time, things a version at a time."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from threading import Lock as Turn
from typing import Any

from sqlalchemy import Connection, Select, func, select
from sqlalchemy.exc import SQLAlchemyError

from fluxbench.base import BookError
from fluxbench.book import _history, _pages, _server, _things, _trails
from fluxbench.book._history import Correction, HistoryRow
from fluxbench.book._kinds import kind_named
from fluxbench.book._open import claimed, engine_for, reader_of, reason_of, settle, upgrade
from fluxbench.book._place import Place, Server
from fluxbench.book._rows import Entry, LineUpRow, Page
from fluxbench.book._tables import COMMANDS, JOURNAL, LINEUPS, STEPS
from fluxbench.book._things import Version, Writing
from fluxbench.book._trails import Pack, Visit
from fluxbench.lineup import Kept

_NEWEST_FIRST = (LINEUPS.c.begun_at.desc(), LINEUPS.c.id.desc())


class Records:
    """What a book holds, to be read and not written, beside a bench that may have it open.

    BookError if there is no book, or another version's.
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self._reader = reader_of(place)

    def close(self) -> None:
        """Close file or connections."""
        self._reader.dispose()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._reader.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            reason = reason_of(self.place, error)
            raise BookError(f"the book {self.place} cannot be read ({reason})") from None

    def entries(self, since: int = 0, limit: int = 1000, lineup: str | None = None) -> list[Entry]:
        """Entries after number `since`, oldest first, of one line-up or of all."""
        rows = _entries_since(since, limit)
        if lineup is not None:
            rows = rows.where(JOURNAL.c.lineup == lineup)
        with self._reading() as connection:
            return [Entry(*row) for row in connection.execute(rows)]

    def last_seq(self) -> int:
        """The number of the newest entry, 0 in an empty book."""
        with self._reading() as connection:
            return int(connection.execute(select(func.max(JOURNAL.c.seq))).scalar() or 0)

    def lineups(self) -> list[LineUpRow]:
        """All line-ups, newest first."""
        rows = select(LINEUPS).order_by(*_NEWEST_FIRST)
        with self._reading() as connection:
            return [LineUpRow(**row) for row in connection.execute(rows).mappings()]

    def steps(self, lineup: str) -> list[Kept]:
        """What a line-up kept, in order."""
        rows = select(STEPS).where(STEPS.c.lineup == lineup).order_by(STEPS.c.row)
        with self._reading() as connection:
            return [
                Kept(row["number"], row["name"], row["value"], row["state"], row["is_part"])
                for row in connection.execute(rows).mappings()
            ]

    def lineups_of(self, deck: str | None) -> list[LineUpRow]:
        """Line-ups of every kind of one deck (None: of those that name no deck), oldest first."""
        rows = select(LINEUPS).where(LINEUPS.c.deck == deck).order_by(LINEUPS.c.begun_at)
        with self._reading() as connection:
            return [LineUpRow(**row) for row in connection.execute(rows).mappings()]

    def history(
        self,
        deck: str | None,
        stage: str | None,
        trimmer: str,
        track: int | None,
        since: str | None = None,
        until: str | None = None,
        speed_ips: float | None = None,
    ) -> list[HistoryRow]:
        """Readings of one trimmer of one track (None: of a stack) over time, oldest first.

        `since` is included, `until` is not (UTC, ISO 8601). `stage` and `speed_ips` None: any.
        A reading that was corrected has its corrected value, and what it was.
        """
        asked = _history.Asked(deck, stage, trimmer, track, since, until, speed_ips)
        with self._reading() as connection:
            return _history.history(connection, asked)

    def visits_of(
        self, deck: str | None, speed_ips: float | None = None, newest: int = 100
    ) -> list[Visit]:
        """The newest line-ups of a deck (None: of those that name none), oldest first."""
        with self._reading() as connection:
            return _trails.visits_of(connection, deck, speed_ips, newest)

    def packs_at(self, visits: Sequence[Visit], trimmers: Sequence[str]) -> list[Pack]:
        """As found and as left of these trimmers off their targets at these visits.

        A corrected reading has its corrected value.
        """
        with self._reading() as connection:
            return _trails.packs_at(connection, visits, trimmers)

    def trimmers_told(self, visits: Sequence[Visit]) -> list[tuple[str, str, int]]:
        """The trimmers that were read off their targets at these visits: name, unit, tracks."""
        with self._reading() as connection:
            return _trails.trimmers_told(connection, visits)

    def readings_of(self, lineup: str) -> list[HistoryRow]:
        """All readings of a line-up, in the order in which they were taken."""
        with self._reading() as connection:
            return _history.readings_of(connection, lineup)

    def things(self, kind: str, *, retired: bool = False) -> list[Version]:
        """Things of a kind as they are now, by name; MisuseError for a kind that is none."""
        kind_named(kind)
        with self._reading() as connection:
            return _things.newest(connection, kind, retired=retired)

    def versions(self, kind: str, thing: str) -> list[Version]:
        """All versions of a thing, oldest first; none if there is no such thing."""
        kind_named(kind)
        with self._reading() as connection:
            return _things.versions(connection, kind, thing)

    def uses(self, tapes: Sequence[Version]) -> dict[str, int]:
        """How often each of these calibration tapes was used, by its id."""
        with self._reading() as connection:
            return _things.uses_of(connection, tapes)

    def answer(self, command: str) -> Mapping[str, Any] | None:
        """What a command was answered, None if it never was."""
        row = select(COMMANDS.c.answer).where(COMMANDS.c.id == command)
        with self._reading() as connection:
            answer: Mapping[str, Any] | None = connection.execute(row).scalar()
        return answer


class Book(Records):
    """A book to be written; threads write one after the other.

    One bench may have a book in a file open. Several may share one on a server, each with a name
    of its own, `bench`: their pages come one after the other, and so do the journal's numbers.

    BookError if another bench has it (or has the name), or it is no book, or a newer one's.
    """

    def __init__(self, place: Place, bench: str | None = None) -> None:
        self.place, self.bench = place, bench
        self._give_back = claimed(place)
        self._turn = Turn()
        self._in_doubt: tuple[Page, str, list[Entry]] | None = None
        self._writer = engine_for(place, writes=True, bench=bench)
        self._reader = engine_for(place, writes=False)
        try:
            upgrade(self._writer, place)
            settle(place)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the book and let another bench have it."""
        self._writer.dispose()
        super().close()
        self._give_back()

    def own_entries(self, since: int = 0, limit: int = 1000) -> list[Entry]:
        """Entries of this bench after number `since`, oldest first."""
        rows = _entries_since(since, limit).where(JOURNAL.c.bench.is_not_distinct_from(self.bench))
        with self._reading() as connection:
            return [Entry(*row) for row in connection.execute(rows)]

    def own_newest(self) -> LineUpRow | None:
        """The line-up that this bench began last, by the journal: clocks are set back."""
        ours = LINEUPS.c.bench.is_not_distinct_from(self.bench)
        begun = select(func.min(JOURNAL.c.seq)).where(JOURNAL.c.lineup == LINEUPS.c.id)
        last = begun.scalar_subquery().desc().nulls_last()
        rows = select(LINEUPS).where(ours).order_by(last, *_NEWEST_FIRST).limit(1)
        with self._reading() as connection:
            row = connection.execute(rows).mappings().first()
        return None if row is None else LineUpRow(**row)

    def write(self, page: Page) -> list[Entry]:
        """Commit a page; its entries with their numbers. BookError, and nothing is written.

        The same page again after an error is written once, even if the error was that the server
        was gone before it could say that it had committed.
        """
        if (written := self._settled(page)) is not None:
            return written
        with self._writing() as connection:
            entries = _pages.write(connection, page, self.bench)
            if isinstance(self.place, Server):
                self._in_doubt = (page, _server.transaction_of(connection), entries)
        self._in_doubt = None
        return entries

    def _settled(self, page: Page) -> list[Entry] | None:
        """The entries of a page that was written after all."""
        if self._in_doubt is None or self._in_doubt[0] is not page:
            return None
        _, transaction, entries = self._in_doubt
        with self._writing() as connection:  # whose turn came: that transaction is over
            is_written = _server.is_committed(connection, transaction)
        self._in_doubt = None
        return entries if is_written else None

    def keep(self, writing: Writing) -> Version:
        """Commit a version of a thing, once, from any thread.

        MisuseError for facts that cannot be, ConflictError for an id that was used for something
        else or a thing that has changed since, BookError; and nothing is written.
        """
        with self._writing() as connection:
            return _things.write(connection, writing)

    def correct(self, correction: Correction) -> HistoryRow:
        """Commit what counts instead of a reading, which stays; errors as of `keep`."""
        with self._writing() as connection:
            return _history.correct(connection, correction)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self._turn, self._writer.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            reason = reason_of(self.place, error)
            ask = "is the server there" if isinstance(self.place, Server) else "is the disk full"
            raise BookError(
                f"the book {self.place} cannot be written ({reason}); "
                f"{ask}? What is taken waits until it can"
            ) from None


def _entries_since(since: int, limit: int) -> Select[Any]:
    columns = [JOURNAL.c[name] for name in ("seq", "lineup", "at", "t_s", "what", "facts")]
    return select(*columns).where(JOURNAL.c.seq > since).order_by(JOURNAL.c.seq).limit(limit)
