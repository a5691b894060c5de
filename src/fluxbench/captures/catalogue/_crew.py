"""The workers: processes of this machine, or any executor that takes the same jobs.

A job whose worker dies is not lost and does not take others with it: it is done once more, alone,
and set aside only if its worker dies again.
"""

import multiprocessing
import os
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor
from types import TracebackType
from typing import Protocol

from fluxbench.captures.catalogue._work import begin


class Crew(Protocol):
    """Who does the jobs."""

    lost: tuple[type[BaseException], ...]
    """What a job raises whose worker died."""

    @property
    def width(self) -> int:
        """How many jobs are worth being under way at once."""
        ...

    def executor(self) -> Executor:
        """Where to submit jobs now."""
        ...

    def renew(self) -> None:
        """Make workers anew after some died."""
        ...

    def named(self, path: str) -> str:
        """A path as the workers can open it."""
        ...

    def watch(self) -> None:
        """Called while jobs are waited for; CrewError if none of them will be done."""
        ...


class LocalCrew:
    """Worker processes of this machine, which end with the one that started them."""

    lost: tuple[type[BaseException], ...] = (BrokenExecutor,)

    def __init__(self, workers: int = 0) -> None:
        self._workers = workers or os.cpu_count() or 1
        self._context = multiprocessing.get_context("spawn")
        self._stop = self._context.Event()
        self._executor: ProcessPoolExecutor | None = None

    @property
    def width(self) -> int:
        """One more than there are workers, so that none waits for its next job."""
        return self._workers + 1

    def executor(self) -> Executor:
        """The processes, begun with the first job."""
        if self._executor is None:
            self._executor = ProcessPoolExecutor(
                self._workers, self._context, initializer=begin, initargs=(self._stop,)
            )
        return self._executor

    def renew(self) -> None:
        """Let go of the broken ones."""
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)
            self._executor = None

    def named(self, path: str) -> str:
        """The same: they stand where we do."""
        return path

    def watch(self) -> None:
        """Nothing: a worker that dies is noticed by its job."""

    def __enter__(self) -> "LocalCrew":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._stop.set()
        self.renew()
