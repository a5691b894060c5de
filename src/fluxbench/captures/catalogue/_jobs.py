"""Every capture through its two jobs, tell and measure, whatever happens to the workers."""

from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, replace

from fluxbench.captures.catalogue import _work
from fluxbench.captures.catalogue._crew import Crew
from fluxbench.captures.catalogue._facts import Fingerprint
from fluxbench.captures.catalogue._journal import Journal, Outcome

DIED = "the process that measured it died, twice, the second time with nothing else under way"
_POLL_S = 0.5

Measure = Callable[[str, Fingerprint], Outcome | None]
Answer = str | Outcome
"""The SHA-256 of a content that the journal holds, or an outcome that is not for the journal."""


@dataclass(frozen=True, slots=True)
class _Job:
    path: str
    seen: Fingerprint | None = None
    changed: bool = False
    """Whether it has changed once while it was measured."""


class Jobs:
    """One run over many captures."""

    def __init__(
        self,
        paths: Iterable[str],
        journal: Journal,
        crew: Crew,
        *,
        retry: bool = False,
        measure: Measure = _work.measure,
        told: Callable[[str, bool], None] = lambda path, fresh: None,
    ) -> None:
        self._waiting = deque(_Job(path) for path in paths)
        self._journal, self._crew = journal, crew
        self._retry, self._measure, self._told = retry, measure, told
        self._fresh: set[str] = set()
        self._under_way: dict[Future[Fingerprint | str | Outcome | None], _Job] = {}
        self._twins: dict[str, list[_Job]] = {}
        self._suspects: deque[_Job] = deque()
        self.answers: dict[str, Answer] = {}
        self.measured = 0

    def run(self) -> dict[str, Answer]:
        """Do all; what is measured is in the journal before it is told."""
        try:
            while self._waiting or self._under_way or self._suspects:
                if self._suspects and not self._under_way:
                    self._alone(self._suspects.popleft())
                    continue
                if not self._suspects:
                    self._submit()
                self._gather()
        finally:
            for future in self._under_way:
                future.cancel()
        return self.answers

    def _submit(self) -> None:
        while self._waiting and len(self._under_way) < self._crew.width:
            job = self._waiting.popleft()
            try:
                self._under_way[self._future(job)] = job
            except self._crew.lost:
                self._waiting.appendleft(job)  # never begun
                if not self._under_way:
                    self._crew.renew()
                return

    def _future(self, job: _Job) -> Future[Fingerprint | str | Outcome | None]:
        executor = self._crew.executor()
        if job.seen is None:
            return executor.submit(_work.look, self._crew.named(job.path))
        return executor.submit(self._measure, self._crew.named(job.path), job.seen)

    def _gather(self) -> None:
        done, _ = wait(self._under_way, _POLL_S, FIRST_COMPLETED)
        if not done:
            self._crew.watch()
        for future in done:
            job = self._under_way.pop(future)
            try:
                result = future.result()
            except self._crew.lost:
                self._suspects.append(job)
                continue
            self._take(job, result)

    def _alone(self, job: _Job) -> None:
        """One that was under way when a worker died, with nothing beside it."""
        self._crew.renew()
        try:
            future = self._future(job)
            while not wait([future], _POLL_S).done:
                self._crew.watch()
            result = future.result()
        except self._crew.lost:
            self._crew.renew()
            if job.seen is None:
                self._answer(job, Outcome(None, DIED), fresh=True)
            else:
                self._keep(job, job.seen, Outcome(None, DIED))
            return
        self._take(job, result)

    def _take(self, job: _Job, result: Fingerprint | str | Outcome | None) -> None:
        match result:
            case Fingerprint():
                self._measure_next(replace(job, seen=result))
            case str():
                self._answer(job, Outcome(None, result), fresh=True)
            case Outcome():
                assert job.seen is not None  # noqa: S101 (only measuring gives an outcome)
                self._keep(job, job.seen, result)
            case None if job.changed:
                self._let_twins_go(job)
                self._answer(job, Outcome(None, _work.CHANGED), fresh=True)
            case None:
                self._let_twins_go(job)
                self._waiting.append(_Job(job.path, changed=True))

    def _measure_next(self, job: _Job) -> None:
        """Measure a content that was told, unless it is known, or under way as another file."""
        if job.seen is None:
            return
        sha256 = job.seen.sha256
        anew = self._retry and self._journal.is_set_aside(sha256) and sha256 not in self._fresh
        if sha256 in self._journal and not anew:
            self._answer(job, sha256, fresh=False)
        elif sha256 in self._twins:
            self._twins[sha256].append(job)
        else:
            self._twins[sha256] = []
            self._waiting.appendleft(job)

    def _keep(self, job: _Job, seen: Fingerprint, outcome: Outcome) -> None:
        self._journal.add(seen.sha256, outcome)
        self._fresh.add(seen.sha256)
        self.measured += 1
        self._answer(job, seen.sha256, fresh=True)
        for twin in self._twins.pop(seen.sha256, []):
            self._answer(twin, seen.sha256, fresh=False)

    def _let_twins_go(self, job: _Job) -> None:
        """The content of a job that changed is still that of its twins: one of them is measured."""
        if job.seen is not None:
            for twin in self._twins.pop(job.seen.sha256, []):
                self._measure_next(twin)

    def _answer(self, job: _Job, answer: Answer, *, fresh: bool) -> None:
        self.answers[job.path] = answer
        self._told(job.path, fresh)
