"""What a bench is plugged into here: a wire of 1 dB loss behind a port, that can be made to fail.

It speaks as `fluxbench deck --samples-port` does and gives the pace of the wall's clock. With the
wire there is hiss 60 dB below full scale. Everything random comes from its seed.
"""

import json
import socket
import threading
import time
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from fluxbench.links._stream import GREETING, RETURNED, SENT

RATE_HZ = 48_000
LOSS_DB = 1.0
HISS = 1e-3
LATE_FRAMES = RATE_HZ // 5
"""So far behind the clock on the wall it may be before what came meanwhile is lost."""


class MadeDeck:
    """One at a port; `fault` is what it does now, None for nothing."""

    def __init__(self, seed: int) -> None:
        self.fault: str | None = None
        self.opened = 0
        """How often somebody has opened it."""
        self._random = np.random.default_rng(seed)
        self._over = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.05)
        self.port = int(self._listener.getsockname()[1])
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        while not self._over.is_set():
            with suppress(OSError):
                bench, _ = self._listener.accept()
                with bench:
                    if self.fault in ("hangs up", "held"):
                        continue
                    bench.settimeout(0.05)
                    bench.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    self.opened += 1
                    self._exchange(bench)

    def _exchange(self, bench: socket.socket) -> None:
        self._take(bench, len(GREETING))
        bench.sendall(json.dumps({"rate_hz": RATE_HZ, "tracks": 1}).encode() + b"\n")
        frame, began_s = 0, time.monotonic()
        while True:
            (frames,) = SENT.unpack(self._take(bench, SENT.size))
            sent = np.frombuffer(self._take(bench, 4 * frames), "<f4")
            due_s = began_s + (frame + frames) / RATE_HZ
            if (early_s := due_s - time.monotonic()) > 0.0:
                time.sleep(early_s)
            missed = max(0, round(-early_s * RATE_HZ) - LATE_FRAMES)
            frame += missed
            while self.fault == "stands still" and not self._over.is_set():
                time.sleep(0.01)
            if self.fault == "hangs up" or self._over.is_set():
                return
            back, lost = self._returned(sent), missed > 0 or self.fault == "loses"
            bench.sendall(RETURNED.pack(frames, frame, int(lost)) + back.astype("<f4").tobytes())
            frame += frames

    def _returned(self, sent: NDArray[np.float32]) -> NDArray[np.float64]:
        if self.fault == "zeros":
            return np.zeros(len(sent))
        hiss = HISS * self._random.standard_normal(len(sent))
        back = 10.0 ** (-LOSS_DB / 20.0) * sent.astype(np.float64) + hiss
        if self.fault == "loses":  # a driver gives anything for what it has lost
            back *= self._random.uniform(0.0, 0.9)
        return np.asarray(back)

    def _take(self, bench: socket.socket, count: int) -> bytes:
        taken = bytearray()
        while len(taken) < count:
            if self._over.is_set():
                raise ConnectionResetError
            with suppress(TimeoutError):
                piece = bench.recv(count - len(taken))
                if not piece:
                    raise ConnectionResetError
                taken += piece
        return bytes(taken)
