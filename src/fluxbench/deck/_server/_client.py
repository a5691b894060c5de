"""A deck as a client of the JACK sound server: a callback that copies, a worker that computes."""

import threading
from types import ModuleType
from typing import Any

import numpy as np

from fluxbench.base import MisuseError, NoServerError
from fluxbench.deck._server._hands import ServedDeck

LATENCY_PERIODS = 3
_SLOTS = 64  # periods that the worker may fall behind before input is left out


def jack_module() -> ModuleType:
    """The package JACK-Client, told to keep quiet; NoServerError if it or libjack is missing."""
    try:
        import jack  # type: ignore[import-untyped]
    except ImportError:
        raise NoServerError(
            "the Python package JACK-Client is missing; install fluxbench[jack]"
        ) from None
    except OSError as error:
        raise NoServerError(
            f"the JACK library is missing ({error}); install it (Debian: libjack-jackd2-0)"
        ) from None
    jack.set_error_function(lambda message: None)
    jack.set_info_function(lambda message: None)
    module: ModuleType = jack
    return module


def open_client(name: str, server: str | None) -> Any:
    """Become a client called `name`; NoServerError without a server, MisuseError if it is taken."""
    jack = jack_module()
    try:
        client = jack.Client(name, no_start_server=True, servername=server)
    except jack.JackOpenError:
        called = f" called {server!r}" if server else ""
        raise NoServerError(
            f"no JACK sound server{called} answers; start one, such as jackd -d dummy"
        ) from None
    if client.name != name:
        client.close()
        raise MisuseError(
            f"the sound server cannot have another client {name!r}; "
            "stop that one or choose another --name"
        )
    return client


class DeckClient:
    """A deck whose tracks are the ports ``in_1`` and ``out_1`` upwards of a JACK client.

    What arrives in one period leaves `LATENCY_PERIODS` later, always: a period that the worker
    has not finished by then is silence and counts in `late_periods`. `over` is set when the
    stream cannot go on; `failure` then says why, in one line.
    """

    def __init__(self, client: Any, deck: ServedDeck, lock: threading.Lock) -> None:
        self.late_periods = 0
        self.lost_periods = 0  # that the deck never got, since the worker was too far behind
        self.server_faults = 0  # cycles that the sound server missed, as it says
        self.failure: str | None = None
        self.over = threading.Event()
        self._client, self._deck, self._lock = client, deck, lock
        self._period = int(client.blocksize)
        shape = (_SLOTS, deck.tracks, self._period)
        self._in, self._out = np.empty(shape, np.float32), np.empty(shape, np.float32)
        self._in.fill(0.0)  # touch every page now, not in the callback
        self._out.fill(0.0)
        self._arrived = 0  # periods, written by the callback only
        self._done = 0  # periods, written by the worker only
        self._work = threading.Event()
        tracks = range(1, deck.tracks + 1)
        self._inputs = [client.inports.register(f"in_{track}") for track in tracks]
        self._outputs = [client.outports.register(f"out_{track}") for track in tracks]
        client.set_process_callback(self._copy)
        client.set_xrun_callback(self._count_fault)
        client.set_blocksize_callback(self._check_period)
        client.set_shutdown_callback(self._server_gone)
        self._worker = threading.Thread(target=self._run, name="deck")

    @property
    def latency_frames(self) -> int:
        """What the client adds to the deck's own delay."""
        return LATENCY_PERIODS * self._period

    def start(self) -> None:
        self._worker.start()
        self._client.activate()

    def close(self) -> None:
        """Leave the sound server and end the worker."""
        self.over.set()
        self._work.set()
        if self.failure is None:
            self._client.deactivate()
        self._client.close()
        if self._worker.is_alive():
            self._worker.join()

    def _copy(self, frames: int) -> None:
        """The real-time callback: copies, nothing else."""
        now = self._arrived
        if frames != self._period:
            return
        for row, port in zip(self._in[now % _SLOTS], self._inputs, strict=True):
            row[:] = port.get_array()
        due = now - LATENCY_PERIODS
        if 0 <= due < self._done:
            for row, port in zip(self._out[due % _SLOTS], self._outputs, strict=True):
                port.get_array()[:] = row
        else:
            for port in self._outputs:
                port.get_array()[:] = 0.0
            self.late_periods += due >= 0
        self._arrived = now + 1
        self._work.set()

    def _count_fault(self, _delay_us: float) -> None:
        self.server_faults += 1

    def _check_period(self, frames: int) -> None:
        if frames != self._period:
            self._fail("the sound server's period has changed; start the deck again")

    def _server_gone(self, _status: object, _reason: str) -> None:
        self._fail("the sound server has stopped")

    def _fail(self, line: str) -> None:
        self.failure = self.failure or line
        self.over.set()
        self._work.set()

    def _run(self) -> None:
        while not self.over.is_set():
            self._work.wait()
            self._work.clear()
            while self._done < self._arrived and not self.over.is_set():
                try:
                    self._advance()
                except Exception as error:
                    self._fail(f"the deck failed: {' '.join(repr(error).split())}")

    def _advance(self) -> None:
        """One period through the deck."""
        now = self._done
        behind = self._arrived - now
        if behind > _SLOTS // 2:
            self.lost_periods += behind - 1
            self._out.fill(0.0)  # nothing old may be heard in their place
            now += behind - 1
        send = np.ascontiguousarray(self._in[now % _SLOTS].T)
        with self._lock:
            returned = self._deck.process(send)
        self._out[now % _SLOTS] = returned.T
        self._done = now + 1
