"""The workers of a Dask cluster: the same jobs, on machines that see the same files.

Whoever controls the scheduler runs code on its workers and here: its address is trusted because
somebody typed it, and for no other reason.
"""

import logging
import os
import socket
import time
import warnings
from collections.abc import Sequence
from concurrent.futures import Executor
from types import TracebackType
from typing import Any

from fluxbench import __version__
from fluxbench.base import CrewError

ANSWERS_WITHIN_S = 10.0
WITHOUT_WORKERS_S = 60.0
"""As long as a run waits for workers when all have gone."""


def unseen_here(paths: Sequence[str]) -> tuple[str, str, list[str]]:
    """What a worker says of itself: machine, version, and which of these paths it cannot see."""
    unseen = [path for path in paths if not os.access(path, os.R_OK)]
    return socket.gethostname(), __version__, unseen


class ClusterCrew:
    """The workers of a scheduler, whatever comes and goes there."""

    def __init__(self, address: str, places: Sequence[str]) -> None:
        """Meet the workers; CrewError if there is none, or one that cannot do these jobs."""
        try:
            from distributed import Client, KilledWorker
        except ImportError:
            raise CrewError(
                "a cluster needs the extra `cluster` of Fluxbench, which is not installed; "
                "install fluxbench[cluster]"
            ) from None
        for logger in list(logging.root.manager.loggerDict):
            if logger.startswith("distributed"):  # what is wrong is told here, on one line
                logging.getLogger(logger).setLevel(logging.CRITICAL + 1)
        self.lost: tuple[type[BaseException], ...] = (KilledWorker,)
        self._address = address
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # versions are compared below
                self._client: Any = Client(
                    address, timeout=ANSWERS_WITHIN_S, set_as_default=False,
                    name="fluxbench catalogue",
                )  # fmt: skip
        except (OSError, ValueError, TypeError) as error:
            reason = " ".join(str(error).split())[:200]
            raise CrewError(
                f"there is no scheduler at {address} ({reason}); start one, "
                "or leave --scheduler out"
            ) from None
        self._executor: Executor | None = None
        self._seen_at_s = time.monotonic()
        try:
            self._meet([os.path.abspath(place) for place in places])
        except BaseException:
            self._client.close()
            raise

    def _meet(self, paths: Sequence[str]) -> None:
        if not self._workers():
            raise CrewError(f"the scheduler at {self._address} has no workers; start some")
        told = self._client.run(unseen_here, paths, on_error="return")
        for worker, answer in told.items():
            if isinstance(answer, BaseException):
                reason = " ".join(f"{answer}".split())[:200]
                raise CrewError(
                    f"the worker {worker} cannot do these jobs ({reason}); "
                    f"install fluxbench {__version__} where it runs"
                )
            machine, version, unseen = answer
            if version != __version__:
                raise CrewError(
                    f"the worker {worker} on {machine} has fluxbench {version}, not {__version__}; "
                    "install the same there"
                )
            if unseen:
                raise CrewError(
                    f"the worker {worker} on {machine} cannot see {', '.join(unseen)}; files are "
                    "read by the workers, so give paths that all of them have"
                )

    def _workers(self) -> dict[str, Any]:
        told: dict[str, Any] = self._client.scheduler_info(n_workers=-1)["workers"]
        return told

    @property
    def width(self) -> int:
        """One more than there are workers' threads, so that none waits for its next job."""
        return 1 + sum(int(worker["nthreads"]) for worker in self._workers().values())

    def executor(self) -> Executor:
        """The cluster as an executor."""
        if self._executor is None:
            self._executor = self._client.get_executor(pure=False)
        return self._executor

    def renew(self) -> None:
        """Nothing: the scheduler has other workers, or gets some."""

    def named(self, path: str) -> str:
        """A path as workers can open it: they stand in other folders."""
        return os.path.abspath(path)

    def watch(self) -> None:
        """CrewError if the scheduler has gone, or all workers for a minute."""
        if self._client.status != "running":
            raise CrewError(
                f"the scheduler at {self._address} has gone; the same command goes on from here"
            )
        now_s = time.monotonic()
        if self._workers():
            self._seen_at_s = now_s
        elif now_s - self._seen_at_s > WITHOUT_WORKERS_S:
            raise CrewError(
                f"the scheduler at {self._address} has no workers any more; start some, "
                "the same command goes on from here"
            )

    def __enter__(self) -> "ClusterCrew":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._executor is not None:
            self._executor.shutdown(wait=False)
        self._client.close()
