"""A running line-up: hops and commands in; what is committed, and what moves, out."""

import queue
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from contextlib import suppress
from typing import Any

from fluxbench.base import BookError, FluxbenchError
from fluxbench.book import Book, LineUpRow
from fluxbench.lineup import Picture
from fluxbench.links import HttpControls
from fluxbench.measure import Hop
from fluxbench.session._channels import with_channels
from fluxbench.session._commands import Command, NotNowError, Waiting, steer
from fluxbench.session._deck_eye import DeckEye
from fluxbench.session._ears import Ears
from fluxbench.session._engine_host import EngineHost, Run
from fluxbench.session._engine_process import Failed, Heard, LinkFactory, Ready, Weighed
from fluxbench.session._following import Following
from fluxbench.session._gaps import Gaps
from fluxbench.session._ledger import Ledger, new_bench
from fluxbench.session._meters import Meters, Shown
from fluxbench.session._only_zeros import OnlyZeros
from fluxbench.session._pages import Desk, new_row, plan_of, with_choice
from fluxbench.session._procedures import PROCEDURES, as_left
from fluxbench.session._starts import Starts
from fluxbench.session._state import State, stage_now
from fluxbench.session._tape import tape_shown
from fluxbench.session._threads import WatchedThread
from fluxbench.session._wanted import set_wanted
from fluxbench.session._watch import Watch

POLL_S = 0.05


class Session:
    """One bench: an engine process, a book, at most one line-up, and whoever looks on.

    Everything but `submit`, `state`, `meters`, `picture_of` and `close` happens in one thread.
    `on_meters` is a word that there are new meters; it, the ledger's `on_event` and the ears'
    `on_left` are called in that thread and must not wait.
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
        self.on_meters: Callable[[], None] = lambda: None
        self.meters = Shown()
        self.ears = Ears()
        deck = None if controls is None else "practice" if practice else "controls"
        self.ledger = Ledger(book, new_bench(version, link_name, deck))
        self._host = EngineHost(open_link)
        self._eye = DeckEye(controls, self._failed)
        self._watch = Watch(self.ledger, self._failed)
        self._desk: Desk | None = None
        self._commands: queue.Queue[Waiting] = queue.Queue()
        self._meter_box = Meters()
        self._fresh_meters = False
        self._starts = Starts(self._host, self.ledger)
        self._following = Following()
        self._interrupted = False
        self._gaps = Gaps()
        self._zeros = OnlyZeros()
        self._over = threading.Event()
        self._thread = WatchedThread("session", self._run, self._failed)

    # -- from any thread -----------------------------------------------------------------------

    def start(self) -> None:
        """Go on with an open line-up if there is one, and start the engine."""
        standing = self.ledger.restore()
        if standing is not None:
            self._take_up(*standing)
        elif (plan := self.ledger.plan) and self._eye.tracks() not in (None, plan.tracks):
            self.ledger.pass_over()
        self._eye.start()
        self._watch.start()
        self._thread.start()

    def close(self) -> None:
        """Fall silent, write what is known, end the engine."""
        self._over.set()
        self._thread.join(5.0)
        self._watch.close()
        self._eye.close()

    @property
    def state(self) -> State:
        """What stands on the screen now."""
        return self.ledger.state

    @property
    def engine_process(self) -> int | None:
        """The number of the engine's process, None if there is none."""
        return self._host.pid

    def host_of(self, open_link: LinkFactory, run: Run) -> EngineHost:
        """The host of another process that opens a link, under the same silence key."""
        return self._host.beside(open_link, run)

    def submit(self, command: Command) -> "Future[Mapping[str, Any]]":
        """Have a command carried out once; NotNowError and MisuseError come by the future."""
        waiting, bench = Waiting(command), self.ledger.bench
        if command.name == "silence":  # at once, whatever the session is busy with
            self._host.silence.put(bool(command.fields["on"]) or bench["engine"] == "failed")
        self._commands.put(waiting)
        if bench["engine"] == "failed":
            self._refuse_all()
        return waiting.answer

    def picture_of(self, track: int) -> tuple[Picture, float] | None:
        """What bias of a track (from 1) was seen to do, and the sheet's over-bias in dB."""
        lineup = None if self._desk is None else self._desk.lineup
        seen = None if lineup is None else lineup.pictures.get(track - 1)
        return None if lineup is None or seen is None else (seen, lineup.plan.over_bias_db)

    # -- the session's own thread ----------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._over.is_set():
                self._watch.went_round()
                self._keep_engine()
                self._obey()
                self._adjust_engine()
                self.ledger.record(self._desk)
                self._go_on()
                self._show()
                self._host.beat()
        finally:
            self._host.stop()

    def _failed(self, line: str) -> None:
        """A thread has died: that is seen, and nothing more is sent."""
        self._host.silence.put(True)
        self._over.set()
        with suppress(Exception):  # who looks on may be why
            self.ledger.tell_bench(engine="failed", line=line)
        self._refuse_all()

    def _refuse_all(self) -> None:
        error = NotNowError(str(self.ledger.bench["line"]))
        self.ledger.give_up(error, self._desk)
        with suppress(queue.Empty):
            while True:
                self._commands.get_nowait().refuse(error)

    def _keep_engine(self) -> None:
        self._starts.keep()
        for message in self._host.poll(POLL_S):
            if isinstance(message, Heard):
                self._hear(message)
            elif isinstance(message, Weighed):
                if self._desk and message.settings == self._host.settings.number:
                    self._desk.lineup.hear(message.measured)
            elif isinstance(message, Ready):
                self._starts.running()
                self.ledger.tell_link(message.rate_hz, message.inputs, message.outputs)
                self._note_engine("running", None)
            elif isinstance(message, Failed):
                self._lose(message)

    def _lose(self, failed: Failed) -> None:
        """The engine is gone: start another one, and take the line-up up where it was."""
        self._starts.again(soon=failed.again)
        if self.ledger.bench["engine"] == "running":
            self._note_engine("lost", failed.line)
        self.ledger.tell_bench(engine="lost", line=failed.line)
        self._meter_box.forget()
        self._fresh_meters = True
        self._interrupted = self._desk is not None and not self._desk.lineup.view.closed

    def _note_engine(self, engine: str, line: str | None) -> None:
        if self._desk is not None and not self._desk.lineup.view.closed:
            self.ledger.note(self._desk, "engine", {"engine": engine, "line": line})

    def _go_on(self) -> None:
        """When another engine runs, take the line-up up where it was."""
        desk, is_running = self._desk, self.ledger.bench["engine"] == "running"
        if self._interrupted and is_running and desk is not None and not self.ledger.stuck:
            with suppress(BookError):  # it is asked again
                self._take_up(desk.row, desk.lineup.time_s, desk)

    def _take_up(self, row: LineUpRow, time_s: float, before: Desk | None = None) -> None:
        """Go on with a line-up from what it has kept in the book."""
        plan = self.ledger.plan
        if plan is None:
            return
        lineup = PROCEDURES[row.kind](row.plan, plan, self.book.steps(row.id), time_s)
        number = (self.ledger.folded["ask"] or {}).get("number")
        self._desk = Desk(row, lineup, number, stage_now(self.ledger.folded))
        if before is not None:
            self._desk.take_over(before)
        self._following.end()
        self._interrupted = False
        self.ledger.note(self._desk, "resumed", {"stage": lineup.view.stage})

    def _hear(self, heard: Heard) -> None:
        if self._gaps.are_in(heard, None if self._desk is None else self._desk.lineup.view):
            self.ledger.tell_bench(gaps=self.ledger.bench["gaps"] + 1)
        self.ledger.tell_bench(only_zeros=self._zeros.stand_in(heard))
        self.ears.hand_on(heard.left)
        for hop in heard.hops:
            self._meter_box.take(hop)
            self._fresh_meters = True
            self._feed(heard.settings, hop)
            if self._desk is not None and self._desk.lineup.steps.fresh:
                self.ledger.record(self._desk)  # so that an interruption repeats one step at most

    def _feed(self, settings: int, hop: Hop) -> None:
        """Show a hop to the line-up, as in lockstep: none that was measured under old settings."""
        if self._interrupted or self.ledger.stuck or settings != self._host.settings.number:
            self._following.end()
        elif self._desk is not None and self._following.show(self._desk.lineup, hop):
            self._adjust_engine()

    def _adjust_engine(self) -> None:
        desk = self._desk
        self._host.overhear(self.ears.listening(None if desk is None else desk.lineup))
        set_wanted(self._host, desk)

    def _show(self) -> None:
        if not self._fresh_meters:
            return
        self._fresh_meters = False
        lineup = None if self._desk is None else self._desk.lineup
        stage = None if lineup is None else lineup.view.stage
        plan = self.ledger.plan
        now = {
            "engine": self.ledger.bench["engine"],
            "silenced": self._host.silence.is_set(),
            "tape": tape_shown(self._eye.seen, plan, stage, self._eye.counted_s),
        }
        zero_dbfs = self._eye.zero_dbfs if plan is None else plan.zero_dbfs
        self.meters = self._meter_box.message(lineup, zero_dbfs, now)
        self.on_meters()

    def _obey(self) -> None:
        while not self._commands.empty():
            waiting = self._commands.get_nowait()
            try:
                known = self.ledger.known(waiting.command.id)
                if known is not None:
                    waiting.tell({**known, "seq": self.ledger.folded["seq"]})
                elif not waiting.is_given_up and not self.ledger.joins(waiting):
                    self._carry_out(waiting)
            except FluxbenchError as error:
                waiting.refuse(error)

    def _carry_out(self, waiting: Waiting) -> None:
        name, fields = waiting.command.name, waiting.command.fields
        if name == "begin":
            self._begin(str(fields["kind"]), with_choice(fields))
        elif name == "silence":
            self.ledger.tell_bench(silenced=bool(fields["on"]))
            self.ledger.note(self._desk, "silence", {"on": bool(fields["on"])})
        elif name == "wake":
            self._starts.wake()
        elif name == "rest":
            self._refuse_if_one_runs()
            self._starts.rest(str(fields["line"]))
        elif self._desk is None or self._desk.lineup.view.closed:
            raise NotNowError("no line-up runs; begin one")
        elif name in ("acknowledge", "decline"):
            self._desk.acknowledge(waiting)  # answered when the line-up has gone on
            return
        else:
            steer(self._desk.lineup, name, fields)
        self.ledger.answer(waiting)

    def _refuse_if_one_runs(self) -> None:
        if self._desk and not self._desk.lineup.view.closed:
            raise NotNowError("a line-up runs already; stop it first")

    def _begin(self, kind: str, shown: Mapping[str, Any]) -> None:
        self._refuse_if_one_runs()
        self._starts.refuse_if_resting()
        shown = with_channels(kind, shown, self.ledger.link_now)
        plan = plan_of(shown)
        self.ledger.record(self._desk)
        if self.ledger.stuck:
            raise NotNowError("the book cannot be written; see to that first")
        if kind == "check":
            shown = {**shown, "as_left": as_left(self.book, plan, shown)}
        row = new_row(kind, shown)
        self._desk = Desk(row, PROCEDURES[kind](shown, plan, None, 0.0), None, "plan")
        self._following.end()
        self.ledger.begin(row, plan)
