"""The server: a port of this machine, one worker, ends with Ctrl-C."""

import gc
import signal
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI

from fluxbench.base import MisuseError

HOST = "127.0.0.1"


def listen_on(port: int, host: str = HOST) -> socket.socket:
    """Take a port of this machine (0: any free one); MisuseError names the next free one.

    `host` is an address of this machine; only who reaches that is heard.
    """
    try:
        return socket.create_server((host, port), reuse_port=False)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or error
        where = "" if host == HOST else f" at {host}"
        raise MisuseError(
            f"port {port}{where} cannot be had ({reason}); try --port {_next_free(port, host)}"
        ) from None


def config_of(app: FastAPI) -> uvicorn.Config:
    """How the application is served."""
    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        ws="websockets-sansio",
        ws_max_size=4096,
        timeout_graceful_shutdown=2,
        server_header=False,
        proxy_headers=False,  # who calls is told by the connection, never by what it says
    )


def serve_app(
    app: FastAPI, listeners: Sequence[socket.socket], ready: Callable[[str], None]
) -> None:
    """Serve until SIGINT or SIGTERM; `ready` gets the address when calls are answered.

    That of the first listener: this machine's own.
    """
    address = f"http://{HOST}:{listeners[0].getsockname()[1]}"
    _Server(config_of(app), lambda: ready(address)).run(list(listeners))


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """End in order when told to; not, as the library would, by the same signal once more."""
        before = {n: signal.signal(n, self.handle_exit) for n in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Tell when it is up."""
        await super().startup(sockets)
        if self.started:
            gc.collect()
            gc.freeze()  # what is there now stays; looking through it again cost 100 ms an answer
            self._ready()


def _next_free(port: int, host: str) -> int:
    for candidate in range(port + 1, min(port + 50, 65_536)):
        with socket.socket() as tried:
            try:
                tried.bind((host, candidate))
            except OSError:
                continue
            return candidate
    return 0
