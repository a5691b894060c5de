"""A crew in this process: for tests that kill no worker."""

from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import Any


class InlineExecutor(Executor):
    """Does each job at once."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class InlineCrew:
    """Nobody but the one who asks."""

    lost: tuple[type[BaseException], ...] = (BrokenExecutor,)
    width = 3

    def executor(self) -> Executor:
        return InlineExecutor()

    def renew(self) -> None:
        pass

    def named(self, path: str) -> str:
        return path

    def watch(self) -> None:
        pass
