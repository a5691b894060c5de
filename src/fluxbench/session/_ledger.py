"""What is written, and what is told after it was written."""

import time
import uuid
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from fluxbench.base import BookError, FluxbenchError
from fluxbench.book import Book, Entry, LineUpRow, Page
from fluxbench.lineup import Plan
from fluxbench.session._commands import Waiting
from fluxbench.session._pages import Desk, now_utc, plan_of
from fluxbench.session._state import EMPTY, State, begun, fold

BOOK_AGAIN_S = 0.3
REMEMBERED = 1000


def new_bench(version: str, link_name: str, deck: str | None) -> dict[str, Any]:
    """What a bench that starts tells of itself."""
    return {
        "run": uuid.uuid4().hex,
        "version": version,
        "engine": "idle",
        "line": None,
        "silenced": False,
        "gaps": 0,
        "only_zeros": False,
        "link": {"name": link_name, "rate_hz": None, "inputs": None, "outputs": None},
        "deck": deck,
        "saved": True,
    }


class Ledger:
    """Commits first, shows second: state, events and answers follow from what is in the book.

    A page that cannot be written waits, and nothing is taken until it is in the book. All
    methods are for one thread; `state` may be read by any.
    """

    def __init__(self, book: Book, bench: dict[str, Any]) -> None:
        self.on_event: Callable[[Mapping[str, Any]], None] = lambda message: None
        self.bench = bench
        self.plan: Plan | None = None
        self.folded: State = EMPTY
        self._book = book
        self._known: OrderedDict[str, Mapping[str, Any]] = OrderedDict()
        self._answering: list[tuple[Waiting, Mapping[str, Any]]] = []
        self._pending: Page | None = None
        self._new_row: LineUpRow | None = None
        self._write_again_s = 0.0
        self._notes: list[Entry] = []

    @property
    def state(self) -> State:
        """What stands on the screen now."""
        return {**self.folded, "bench": dict(self.bench)}

    @property
    def stuck(self) -> bool:
        """Whether there is a page that could not be written."""
        return self._pending is not None

    @property
    def link_now(self) -> Mapping[str, Any]:
        """What the engine runs on; without one, only its name: it may come back another."""
        link: Mapping[str, Any] = self.bench["link"]
        if self.bench["engine"] == "running":
            return link
        return {**link, "rate_hz": None, "inputs": None, "outputs": None}

    def tell_link(self, rate_hz: int, inputs: int, outputs: int) -> None:
        """Tell that the engine runs, and on what."""
        link = {**self.bench["link"], "rate_hz": rate_hz, "inputs": inputs, "outputs": outputs}
        self.tell_bench(engine="running", line=None, link=link)

    def tell_bench(self, **changes: Any) -> None:
        """Tell what is new about the bench itself; this is not in the book.

        Once it has failed it stays so, whatever a thread that is not through yet has to say.
        """
        if self.bench["engine"] == "failed":
            changes = {key: of for key, of in changes.items() if key not in ("engine", "line")}
        changed = {key for key, value in changes.items() if self.bench[key] != value}
        if not changed:
            return
        self.bench.update(changes)
        message = {"seq": self.folded["seq"], "lineup": None, "at": now_utc(), "t": None,
                   "what": "bench", "facts": {key: self.bench[key] for key in sorted(changed)},
                   "set": {"bench": dict(self.bench)}}  # fmt: skip
        self.on_event(message)

    def begin(self, row: LineUpRow, plan: Plan) -> None:
        """Open a line-up with the next page."""
        self.plan, self._new_row = plan, row
        self._notes.append(Entry(0, row.id, now_utc(), 0.0, "begun", {"kind": row.kind}))

    def note(self, desk: Desk | None, what: str, facts: Mapping[str, Any]) -> None:
        """Put an entry of the session's own on the next page."""
        at_s = 0.0 if desk is None else round(desk.lineup.time_s, 2)
        lineup = None if desk is None else desk.row.id
        self._notes.append(Entry(0, lineup, now_utc(), at_s, what, facts))

    def known(self, command: str) -> Mapping[str, Any] | None:
        """The answer that a command has had, None if it is new."""
        return self._known.get(command) or self._book.answer(command)

    def joins(self, waiting: Waiting) -> bool:
        """Whether the same command was carried out just now; it is then answered with that one."""
        same = any(w.command.id == waiting.command.id for w, _ in self._answering)
        if same:
            self.answer(waiting)
        return same

    def give_up(self, error: FluxbenchError, desk: Desk | None) -> None:
        """Refuse all whose commands are not answered yet."""
        for waiting in (*(w for w, _ in self._answering), *(desk.waiting if desk else ())):
            waiting.refuse(error)

    def answer(self, waiting: Waiting) -> None:
        """Answer a command with the next page."""
        self._answering.append((waiting, {"id": waiting.command.id, "done": True}))

    def restore(self) -> tuple[LineUpRow, float] | None:
        """Fold this bench's newest line-up; it and its time so far if it was not ended."""
        self.folded = {**EMPTY, "seq": self._book.last_seq()}
        row = self._book.own_newest()
        if row is None:
            return None
        self.plan = plan_of(row.plan)
        state, since, time_s = begun(EMPTY, row, self.plan), 0, 0.0
        while entries := self._book.entries(since, lineup=row.id):
            for entry in entries:
                state, time_s = fold(state, entry, self.plan), max(time_s, entry.t_s)
            since = entries[-1].seq
        self.folded = {**state, "seq": self.folded["seq"]}
        return None if row.closed else (row, time_s)

    def pass_over(self) -> None:
        """Show nothing of a line-up that was ended: it is of a deck that is not here."""
        self.plan, self.folded = None, {**EMPTY, "seq": self.folded["seq"]}

    def record(self, desk: Desk | None) -> None:
        """Write down what is new; only then tell it to anybody."""
        if self._pending is None:
            page = self._page(desk)
            if not (page.entries or page.steps or page.answers or page.closed or page.begun):
                return
            self._pending = page
        elif time.monotonic() < self._write_again_s:
            return
        try:
            entries = self._book.write(self._pending)
        except BookError as error:
            self._write_again_s = time.monotonic() + BOOK_AGAIN_S
            self.tell_bench(saved=False, line=str(error))
            return
        if not self.bench["saved"]:
            self.tell_bench(saved=True, line=None)
        page, self._pending = self._pending, None
        for entry in entries:
            self._tell(entry, page.begun)
        self._send_answers(page)

    def _page(self, desk: Desk | None) -> Page:
        page = Page() if desk is None else desk.page()
        if desk is not None:
            self._answering += [(w, {"id": w.command.id, "done": True}) for w in desk.gone_on()]
        page.begun, self._new_row = self._new_row, None
        before, self._notes = self._notes, []
        page.entries[:0] = before
        page.readings = [replace(r, of=r.of + len(before)) for r in page.readings]
        page.answers = {w.command.id: answer for w, answer in self._answering}
        page.at = now_utc()
        return page

    def _send_answers(self, page: Page) -> None:
        for waiting, answer in self._answering:
            if waiting.command.id in page.answers:
                self._known[waiting.command.id] = answer
                waiting.tell({**answer, "seq": self.folded["seq"]})
        self._answering = [a for a in self._answering if a[0].command.id not in page.answers]
        while len(self._known) > REMEMBERED:
            self._known.popitem(last=False)

    def _tell(self, entry: Entry, row: LineUpRow | None) -> None:
        after = self.folded
        if entry.what == "begun" and row is not None and self.plan is not None:
            after = begun(after, row, self.plan)
        if self.plan is not None:
            after = fold(after, entry, self.plan)
        after = {**after, "seq": entry.seq}
        before, self.folded = self.folded, after
        changed = {k: v for k, v in after.items() if k != "seq" and v is not before[k]}
        self.on_event(event(entry) | {"set": changed})


def event(entry: Entry) -> dict[str, Any]:
    """A row of the journal as a message."""
    return {"seq": entry.seq, "lineup": entry.lineup, "at": entry.at, "t": entry.t_s,
            "what": entry.what, "facts": entry.facts}  # fmt: skip
