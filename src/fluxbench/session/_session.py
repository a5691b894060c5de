"""A running line-up: hops and commands in; what is committed, and what moves, out."""

import queue
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import replace
from typing import Any

from fluxbench.base import BookError, FluxbenchError, MisuseError
from fluxbench.book import Book, Entry, LineUpRow, Page
from fluxbench.lineup import COURSE, LineUp, Plan
from fluxbench.links import HttpControls
from fluxbench.measure import HOP_S, Hop
from fluxbench.session._commands import Command, NotNowError, Waiting
from fluxbench.session._deck_eye import DeckEye
from fluxbench.session._engine_host import EngineHost
from fluxbench.session._engine_process import Failed, Heard, LinkFactory, Ready
from fluxbench.session._meters import Meters, Shown
from fluxbench.session._pages import Desk, new_row, now_utc, plan_of
from fluxbench.session._state import EMPTY, State, begun, fold, stage_now
from fluxbench.session._tape import tape_shown
from fluxbench.session._threads import WatchedThread
from fluxbench.signals import Silence

AGAIN_S = (0.2, 0.5, 1.0, 2.0, 5.0)
"""How long to wait before the engine is started again, first time, second time and so on."""
BOOK_AGAIN_S = 0.3
REMEMBERED = 1000
IDLE_TONES_HZ = (1000.0,)


class Session:
    """One bench: an engine process, a book, at most one line-up, and whoever looks on.

    Everything but `submit`, `state`, `meters`, `picture` and `close` happens in one thread.
    `on_event` gets every message for the events socket in order, `on_meters` a word that there
    are new meters; both are called in that thread and must not wait.
    """

    def __init__(
        self,
        book: Book,
        open_link: LinkFactory,
        link_name: str,
        version: str,
        controls: HttpControls | None = None,
        practice: bool = False,
    ) -> None:
        self.book = book
        self.controls = controls
        self.on_event: Callable[[Mapping[str, Any]], None] = lambda message: None
        self.on_meters: Callable[[], None] = lambda: None
        self.meters = Shown()
        self._host = EngineHost(open_link)
        self._eye = DeckEye(controls, self._failed)
        self._bench: dict[str, Any] = {
            "run": uuid.uuid4().hex,
            "version": version,
            "engine": "idle",
            "line": None,
            "silenced": False,
            "gaps": 0,
            "link": {"name": link_name, "rate_hz": None, "tracks": None},
            "deck": None if controls is None else "practice" if practice else "controls",
            "saved": True,
        }
        self._folded: State = EMPTY
        self._plan: Plan | None = None
        self._desk: Desk | None = None
        self._commands: queue.Queue[Waiting] = queue.Queue()
        self._known: OrderedDict[str, Mapping[str, Any]] = OrderedDict()
        self._answering: list[tuple[Waiting, Mapping[str, Any]]] = []
        self._acknowledging: dict[int, list[Waiting]] = {}
        self._pending: Page | None = None
        self._pending_row: LineUpRow | None = None
        self._write_again_s = 0.0
        self._extra: list[Entry] = []
        self._meter_box = Meters()
        self._fresh_meters = False
        self._tries = 0
        self._start_at_s: float | None = 0.0
        self._next_frame: int | None = None
        self._shift = 0
        self._over = threading.Event()
        self._thread = WatchedThread("session", self._run, self._failed)

    # -- from any thread -----------------------------------------------------------------------

    def start(self) -> None:
        """Go on with an open line-up if there is one, and start the engine."""
        self._resume()
        self._eye.start()
        self._thread.start()

    def close(self) -> None:
        """Fall silent, write what is known, end the engine."""
        self._over.set()
        self._thread.join(5.0)
        self._eye.close()

    @property
    def state(self) -> State:
        """What stands on the screen now."""
        return {**self._folded, "bench": dict(self._bench)}

    def submit(self, command: Command) -> "Future[Mapping[str, Any]]":
        """Have a command carried out once; NotNowError and MisuseError come by the future."""
        waiting = Waiting(command)
        if self._bench["engine"] == "failed":
            waiting.answer.set_exception(NotNowError(str(self._bench["line"])))
            return waiting.answer
        if command.name == "silence":  # at once, whatever the session is busy with
            self._host.silence.put(bool(command.fields["on"]))
        self._commands.put(waiting)
        return waiting.answer

    def picture_of(self, track: int) -> Any:
        """What bias of a track (from 1) was seen to do, and the sheet's over-bias; or None."""
        desk = self._desk
        picture = None if desk is None else desk.lineup.pictures.get(track - 1)
        return None if desk is None or picture is None else (picture, desk.lineup.plan.over_bias_db)

    # -- the session's own thread ----------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._over.is_set():
                self._keep_engine()
                self._obey()
                self._adjust_engine()
                self._record()
                self._show()
                self._host.beat()
        finally:
            self._host.stop()

    def _failed(self, line: str) -> None:
        """A thread has died: that is seen, and nothing more is sent."""
        self._host.silence.put(True)
        self._tell_bench(engine="failed", line=line)
        while not self._commands.empty():
            self._commands.get_nowait().answer.set_exception(NotNowError(line))

    def _tell_bench(self, **changes: Any) -> None:
        changed = {key for key, value in changes.items() if self._bench[key] != value}
        if not changed:
            return
        self._bench.update(changes)
        message = {"seq": self._folded["seq"], "lineup": None, "at": now_utc(), "t": None,
                   "what": "bench", "facts": {key: self._bench[key] for key in sorted(changed)},
                   "set": {"bench": dict(self._bench)}}  # fmt: skip
        self.on_event(message)

    def _keep_engine(self) -> None:
        if self._start_at_s is not None and time.monotonic() >= self._start_at_s:
            self._start_at_s = None
            self._tell_bench(engine="starting")
            self._host.start()
        for message in self._host.poll(0.05):
            if isinstance(message, Heard):
                self._hear(message)
            elif isinstance(message, Ready):
                self._tries = 0
                link = {"name": self._bench["link"]["name"], "rate_hz": message.rate_hz,
                        "tracks": message.tracks}  # fmt: skip
                self._tell_bench(engine="running", line=None, link=link)
                self._note_engine("running", None)
            else:
                self._lose(message)

    def _lose(self, failed: Failed) -> None:
        """The engine is gone: start another one, and take the line-up up where it was."""
        wait_s = AGAIN_S[min(self._tries, len(AGAIN_S) - 1)]
        self._tries += 1
        self._start_at_s = time.monotonic() + (wait_s if failed.again else AGAIN_S[-1])
        self._tell_bench(engine="lost", line=failed.line)
        self._note_engine("lost", failed.line)
        self._next_frame = None
        self._meter_box.forget()
        self._fresh_meters = True
        if self._desk is not None and not self._desk.lineup.view.closed:
            self._record()
            if self._pending is None:
                self._take_up(self._desk.row, self._desk.lineup.time_s)

    def _note_engine(self, engine: str, line: str | None) -> None:
        if self._desk is not None and not self._desk.lineup.view.closed:
            self._note("engine", {"engine": engine, "line": line})

    def _note(self, what: str, facts: Mapping[str, Any]) -> None:
        desk = self._desk
        at_s = 0.0 if desk is None else round(desk.lineup.time_s, 2)
        lineup = None if desk is None else desk.row.id
        self._extra.append(Entry(0, lineup, now_utc(), at_s, what, facts))

    def _hear(self, heard: Heard) -> None:
        lost = heard.left_out > 0
        for hop in heard.hops:
            lost |= hop.lost
            self._meter_box.take(hop)
            self._fresh_meters = True
            self._feed(heard.settings, hop)
        if lost:
            self._count_gap()

    def _feed(self, settings: int, hop: Hop) -> None:
        """Show a hop to the line-up, as in lockstep: none that was measured under old settings."""
        desk = self._desk
        if desk is None or desk.lineup.view.closed or self._pending is not None:
            self._next_frame = None
            return
        if settings != self._host.settings.number or len(hop.peak) != desk.lineup.plan.tracks:
            self._next_frame = None
            return
        if self._next_frame is None:
            self._shift = round(desk.lineup.time_s / HOP_S) * hop.frames - hop.first_frame
        hop = replace(hop, first_frame=hop.first_frame + self._shift)
        self._next_frame = hop.first_frame + hop.frames
        desk.lineup.see(hop)
        self._adjust_engine()

    def _count_gap(self) -> None:
        self._tell_bench(gaps=self._bench["gaps"] + 1)

    def _adjust_engine(self) -> None:
        desk = self._desk
        if desk is None:
            self._host.set(Silence(), IDLE_TONES_HZ)
        else:
            self._host.set(desk.lineup.signal, tuple(float(f) for f in desk.lineup.tones))

    # -- commands ----------------------------------------------------------------------------

    def _obey(self) -> None:
        while not self._commands.empty():
            waiting = self._commands.get_nowait()
            command = waiting.command
            known = self._known.get(command.id) or self.book.answer(command.id)
            if known is not None:
                waiting.answer.set_result(known)
                continue
            try:
                self._carry_out(waiting)
            except FluxbenchError as error:
                waiting.answer.set_exception(error)

    def _carry_out(self, waiting: Waiting) -> None:
        name, fields = waiting.command.name, waiting.command.fields
        if name == "begin":
            self._begin(str(fields["kind"]), fields["plan"])
        elif name == "silence":
            self._tell_bench(silenced=bool(fields["on"]))
            self._note("silence", {"on": bool(fields["on"])})
        else:
            desk = self._running()
            if name == "acknowledge":
                self._acknowledge(desk, int(fields["ask"]), waiting)
                return
            self._steer(desk.lineup, name, fields)
        self._answer_later(waiting)

    def _answer_later(self, waiting: Waiting) -> None:
        """The answer goes out when it is in the book."""
        self._answering.append((waiting, {"id": waiting.command.id, "done": True}))

    def _running(self) -> Desk:
        if self._desk is None or self._desk.lineup.view.closed:
            raise NotNowError("no line-up runs; begin one")
        return self._desk

    def _begin(self, kind: str, shown: Mapping[str, Any]) -> None:
        if self._desk is not None and not self._desk.lineup.view.closed:
            raise NotNowError("a line-up runs already; stop it first")
        if self._pending is not None:
            raise NotNowError("the book cannot be written; see to that first")
        plan = plan_of(shown)
        has = self._bench["link"]["tracks"]
        if has is not None and has < plan.tracks:
            raise MisuseError(f"the deck has {plan.tracks} tracks, the interface {has} channels")
        self._record()
        row = new_row(kind, shown)
        self._plan, self._desk = plan, Desk(row, LineUp(plan), None, "plan")
        self._next_frame = None
        self._pending_row = row
        self._extra.append(Entry(0, row.id, now_utc(), 0.0, "begun", {"kind": kind}))

    def _acknowledge(self, desk: Desk, ask: int, waiting: Waiting) -> None:
        shown = desk.lineup.view.ask
        if shown is None or shown.number != ask:
            raise NotNowError(f"ask {ask} is not open")
        self._acknowledging.setdefault(ask, []).append(waiting)
        desk.acknowledged(ask)

    def _steer(self, lineup: LineUp, name: str, fields: Mapping[str, Any]) -> None:
        if name == "focus":
            track = fields["track"]
            if track is not None and not 1 <= track <= lineup.plan.tracks:
                raise MisuseError(f"tracks go from 1 to {lineup.plan.tracks}, not {track}")
            lineup.wanted = None if track is None else track - 1
        elif name == "skip":
            if fields["stage"] != lineup.view.stage:
                raise NotNowError(f"the stage that runs is {lineup.view.stage!r}")
            lineup.leave(None, str(fields["reason"]))
        elif name == "repeat":
            if fields["stage"] not in COURSE:
                raise MisuseError(f"no stage is called {fields['stage']!r}")
            lineup.leave(str(fields["stage"]), "wanted")
        else:
            lineup.stop(str(fields["reason"]))

    # -- the book ----------------------------------------------------------------------------

    def _record(self) -> None:
        """Write down what is new; only then is it told to anybody."""
        if self._pending is None:
            page = Page() if self._desk is None else self._desk.page()
            page.begun, self._pending_row = self._pending_row, None
            page.entries[:0] = self._extra
            page.readings = [
                replace(reading, of=reading.of + len(self._extra)) for reading in page.readings
            ]
            self._extra = []
            self._settle_acknowledged()
            page.answers = {w.command.id: answer for w, answer in self._answering}
            page.at = now_utc()
            if not (page.entries or page.steps or page.answers or page.closed or page.begun):
                return
            self._pending = page
        elif time.monotonic() < self._write_again_s:
            return
        try:
            entries = self.book.write(self._pending)
        except BookError as error:
            self._write_again_s = time.monotonic() + BOOK_AGAIN_S
            self._tell_bench(saved=False, line=str(error))
            return
        if not self._bench["saved"]:
            self._tell_bench(saved=True, line=None)
        page, self._pending = self._pending, None
        for entry in entries:
            self._tell(entry, page.begun)
        self._answer()

    def _settle_acknowledged(self) -> None:
        desk = self._desk
        for ask in list(self._acknowledging):
            if desk is None or desk.waits_for != ask:
                for waiting in self._acknowledging.pop(ask):
                    self._answer_later(waiting)

    def _answer(self) -> None:
        for waiting, answer in self._answering:
            self._known[waiting.command.id] = answer
            if len(self._known) > REMEMBERED:
                self._known.popitem(last=False)
            waiting.answer.set_result({**answer, "seq": self._folded["seq"]})
        self._answering = []

    def _tell(self, entry: Entry, row: LineUpRow | None) -> None:
        before = self._folded
        if entry.what == "begun" and row is not None and self._plan is not None:
            before = begun(before, row, self._plan)
        after = before if self._plan is None else fold(before, entry, self._plan)
        after = {**after, "seq": entry.seq}
        changed = {k: v for k, v in after.items() if k != "seq" and v is not self._folded.get(k)}
        self._folded = after
        self.on_event(event(entry) | {"set": changed})

    # -- going on after an interruption --------------------------------------------------------

    def _resume(self) -> None:
        """Fold the newest line-up; if it was not brought to an end, go on with it."""
        rows = self.book.lineups()[:1]
        if not rows:
            last = self.book.last_seq()
            self._folded = {**EMPTY, "seq": last}
            return
        row = rows[0]
        self._plan = plan_of(row.plan)
        state, since, time_s = begun(EMPTY, row, self._plan), 0, 0.0
        while entries := self.book.entries(since, lineup=row.id):
            for entry in entries:
                state, time_s = fold(state, entry, self._plan), max(time_s, entry.t_s)
            since = entries[-1].seq
        self._folded = {**state, "seq": self.book.last_seq()}
        if not row.closed:
            self._take_up(row, time_s)

    def _take_up(self, row: LineUpRow, time_s: float) -> None:
        if self._plan is None:
            return
        lineup = LineUp(self._plan, self.book.steps(row.id), time_s)
        ask = self._folded["ask"]
        self._desk = Desk(row, lineup, None if ask is None else ask["number"],
                          stage_now(self._folded))  # fmt: skip
        self._next_frame = None
        self._note("resumed", {"stage": lineup.view.stage})
        now = lineup.view.ask
        if now is not None and now.number in self._acknowledging:
            self._desk.acknowledged(now.number)

    # -- the meters ----------------------------------------------------------------------------

    def _show(self) -> None:
        if not self._fresh_meters:
            return
        self._fresh_meters = False
        desk, deck = self._desk, self._eye.seen
        lineup = None if desk is None else desk.lineup
        stage = None if lineup is None else lineup.view.stage
        zero_dbfs = self._plan.zero_dbfs if self._plan is not None else self._eye.zero_dbfs
        now = {
            "engine": self._bench["engine"],
            "silenced": self._host.silence.is_set(),
            "tape": tape_shown(deck, self._plan, stage, self._eye.counted_s),
        }
        self.meters = self._meter_box.message(lineup, zero_dbfs, now)
        self.on_meters()


def event(entry: Entry) -> dict[str, Any]:
    """A row of the journal as a message."""
    return {"seq": entry.seq, "lineup": entry.lineup, "at": entry.at, "t": entry.t_s,
            "what": entry.what, "facts": entry.facts}  # fmt: skip
