"""Captures that are being measured: one at a time, apart from the bench, never during a line-up."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from fluxbench.base import ConflictError, FluxbenchError
from fluxbench.book import Writing
from fluxbench.captures.catalogue import Apart, Declared, facts_found
from fluxbench.session import Session, now_utc

_POLL_S = 0.25


@dataclass(frozen=True, slots=True)
class Job:
    """A capture that is to be measured, or whose result could not be kept."""

    capture: str
    path: str
    reel: str
    declared: Declared
    state: Literal["waits", "measures", "held", "failed"] = "waits"
    """`held`: begun, and waiting for the end of a line-up."""
    share: float = 0.0
    line: str | None = None
    """Why it failed."""


class Measurer(Protocol):
    """What measures one capture; see `Apart`."""

    share: float

    def hold(self, held: bool) -> None:
        """Let it wait where it is, or go on."""

    def result(self, wait_s: float) -> dict[str, Any] | None:
        """What was found, None if that is not known yet."""

    def end(self) -> None:
        """End it."""


class Measuring:
    """The captures that wait, and the one that is measured; what was found is kept in the book."""

    def __init__(
        self, session: Session, begin: Callable[[str, str, Declared], Measurer] = Apart
    ) -> None:
        self._session, self._begin = session, begin
        self._jobs: dict[str, Job] = {}
        self._changed = threading.Condition()
        self._ended = False
        self._thread: threading.Thread | None = None

    def jobs(self) -> list[Job]:
        """In the order in which they are measured."""
        with self._changed:
            return list(self._jobs.values())

    def ask(self, job: Job) -> None:
        """Have a capture measured; `ConflictError` if it already is."""
        with self._changed:
            before = self._jobs.get(job.capture)
            if before is not None and before.state != "failed":
                raise ConflictError("this capture is being measured; stop that, or wait for it")
            self._jobs[job.capture] = job
            if self._thread is None and not self._ended:
                self._thread = threading.Thread(target=self._work, name="captures", daemon=True)
                self._thread.start()
            self._changed.notify_all()

    def stop(self, capture: str) -> None:
        """Measure it no longer; nothing is kept of what was found so far."""
        with self._changed:
            self._jobs.pop(capture, None)
            self._changed.notify_all()

    def end(self) -> None:
        """End whatever is being measured."""
        with self._changed:
            self._ended = True
            self._jobs.clear()
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join()

    def _lined_up(self) -> bool:
        lineup = self._session.state["lineup"]
        return lineup is not None and not lineup["closed"]

    def _work(self) -> None:
        while (job := self._next()) is not None:
            try:
                self._measure(job)
            except Exception as error:  # the next one is measured all the same
                reason = " ".join(f"{type(error).__name__}: {error}".split())
                self._note(job, state="failed", line=f"measuring failed ({reason}); try it again")

    def _next(self) -> Job | None:
        """The next that waits, when no line-up runs; None at the end."""
        with self._changed:
            while not self._ended:
                waiting = [job for job in self._jobs.values() if job.state == "waits"]
                if waiting and not self._lined_up():
                    return waiting[0]
                self._changed.wait(_POLL_S if waiting else None)
            return None

    def _measure(self, job: Job) -> None:
        measurer = self._begin(job.path, job.reel, job.declared)
        try:
            found = None
            while found is None:
                held = self._lined_up()
                measurer.hold(held)
                if not self._note(job, state="held" if held else "measures", share=measurer.share):
                    return
                found = measurer.result(_POLL_S)
        finally:
            measurer.end()
        try:
            self._keep(job, found)
        except FluxbenchError as error:
            self._note(job, state="failed", line=str(error))
        else:
            self.stop(job.capture)

    def _note(self, job: Job, **told: Any) -> bool:
        """Whether it is still to be measured; if so, what is told of it stands there."""
        with self._changed:
            if job.capture not in self._jobs:
                return False
            self._jobs[job.capture] = replace(self._jobs[job.capture], **told)
            return True

    def _keep(self, job: Job, found: Mapping[str, Any]) -> None:
        at = now_utc()
        self._session.book.keep(
            Writing(f"{job.capture[:30]}-{at[2:23].translate(_ONLY_DIGITS)}", "captures",
                    job.capture, facts_found(found, at), at, why="measured")
        )  # fmt: skip


_ONLY_DIGITS = {ord(mark): None for mark in "-:.TZ"}
