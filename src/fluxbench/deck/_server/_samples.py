"""A deck's samples on a port of this machine, at the pace of the clock on the wall."""

import json
import socket
import struct
import threading
import time

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.deck._server._hands import ServedDeck

F32 = NDArray[np.float32]

_GREETING = b"fluxbench samples 1\n"
_SENT = struct.Struct("<I")
_RETURNED = struct.Struct("<IQI")
_LONGEST_BLOCK_S = 1.0
_PATIENCE_S = 0.25  # so late may a block be before the tape runs on without it
_IDLE_S = 0.02
_STALLS = 8  # a block may stop so often on its way


class SamplesServer:
    """Serves one bench at a time from a thread of its own; `lock` is held while the deck runs.

    A block that is sent is worked on when its time has come, and its return goes back at once.
    Without a bench the deck runs on with silence sent, as long as something moves. MisuseError
    if the port is in use.
    """

    def __init__(self, port: int, lock: threading.Lock) -> None:
        self._lock = lock
        try:
            self._listener = socket.create_server(("127.0.0.1", port))
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            raise MisuseError(f"port {port} cannot be had ({reason}); take another one") from None
        self._listener.settimeout(_IDLE_S)
        self.failure: str | None = None
        self.over = threading.Event()
        self.last_used_s = time.monotonic()
        self._thread = threading.Thread(target=self._run, name="deck")

    @property
    def port(self) -> int:
        return int(self._listener.getsockname()[1])

    def start(self, deck: ServedDeck) -> None:
        """Let the deck run from now on."""
        self._deck = deck
        self._thread.start()

    def close(self) -> None:
        """Hang up and give the port back."""
        self.over.set()
        if self._thread.is_alive():
            self._thread.join()
        self._listener.close()

    def _run(self) -> None:
        try:
            while not self.over.is_set():
                bench = self._accept()
                if bench is not None:
                    with bench:
                        self._serve(bench)
        except Exception as error:
            self.failure = f"the deck failed: {' '.join(repr(error).split())}"
            self.over.set()

    def _accept(self) -> socket.socket | None:
        """A bench that greets as it should; the deck runs on meanwhile."""
        began = time.monotonic()
        try:
            bench, _ = self._listener.accept()
        except TimeoutError:
            self._run_on(time.monotonic() - began)
            return None
        bench.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        bench.settimeout(_PATIENCE_S)
        try:
            if bench.recv(len(_GREETING), socket.MSG_WAITALL) == _GREETING:
                told = {"rate_hz": self._deck.rate_hz, "tracks": self._deck.tracks}
                bench.sendall(json.dumps(told).encode() + b"\n")
                return bench
        except OSError:
            pass
        bench.close()
        return None

    def _run_on(self, seconds: float) -> None:
        """Silence is sent while nobody sends."""
        with self._lock:
            state = self._deck.state()
            if state["transport"] != "stop" or state.get("turning") or state.get("winding"):
                frames = round(seconds * self._deck.rate_hz)
                self._deck.process(np.zeros((frames, self._deck.tracks), np.float32))

    def _serve(self, bench: socket.socket) -> None:
        """Exchange blocks until the bench hangs up."""
        first, lost = 0, False
        greeted_as = self._deck.tracks, self._deck.rate_hz
        due_s = time.monotonic()
        waited_s = 0.0
        while not self.over.is_set():
            try:
                send = self._block(bench, greeted_as[0])
            except TimeoutError:
                waited_s += _PATIENCE_S
                frames = round(_PATIENCE_S * self._deck.rate_hz)
                self._run_on(_PATIENCE_S)
                first, lost = first + frames, True
                if waited_s > 10.0:
                    return
                continue
            except (OSError, ValueError):
                return
            waited_s = 0.0
            self.last_used_s = time.monotonic()
            due_s += len(send) / self._deck.rate_hz
            late_s = time.monotonic() - due_s
            if late_s > _PATIENCE_S:
                due_s = time.monotonic()
            elif late_s < 0.0:
                time.sleep(-late_s)
            with self._lock:
                if (self._deck.tracks, self._deck.rate_hz) != greeted_as:
                    return
                returned = self._deck.process(send)
            try:
                bench.sendall(
                    _RETURNED.pack(len(returned), first, int(lost))
                    + returned.astype("<f4", "C").tobytes()
                )
            except OSError:
                return
            first, lost = first + len(send), False

    def _block(self, bench: socket.socket, tracks: int) -> F32:
        frames = _SENT.unpack(_take(bench, _SENT.size, patient=False))[0]
        if not 0 < frames <= _LONGEST_BLOCK_S * self._deck.rate_hz:
            raise ValueError(f"a block of {frames} frames")
        content = _take(bench, 4 * frames * tracks, patient=True)
        return np.frombuffer(content, "<f4").reshape(frames, tracks).astype(np.float32)


def _take(bench: socket.socket, count: int, patient: bool) -> bytes:
    """So many bytes; TimeoutError only before the first one, unless `patient`."""
    taken = bytearray()
    stalls = 0
    while len(taken) < count:
        try:
            piece = bench.recv(count - len(taken))
        except TimeoutError:
            stalls += 1
            if stalls < _STALLS and (taken or patient):
                continue
            raise
        if not piece:
            raise ConnectionResetError("the bench hung up")
        taken += piece
    return bytes(taken)
