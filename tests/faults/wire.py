"""The cable between engine and deck, with an ear on it.

It knows when the last sample was sent that is not silence, and how often the deck said that frames
were lost.
"""

import socket
import struct
import threading
import time
from collections.abc import Generator
from contextlib import suppress

import numpy as np

GREETING_BYTES = 20
SENT = struct.Struct("<I")
RETURNED = struct.Struct("<IQI")


class Wire:
    """Hands everything on between who connects and the deck at `deck_port`."""

    def __init__(self, deck_port: int, tracks: int) -> None:
        self.deck_port = deck_port
        self.sounded_s = 0.0
        self.lost = 0
        self._tracks = tracks
        self._over = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.1)
        self.port = int(self._listener.getsockname()[1])
        self._threads: list[threading.Thread] = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def close(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join()
        self._listener.close()

    @property
    def silent_for_s(self) -> float:
        return time.monotonic() - self.sounded_s

    def _accept(self) -> None:
        while not self._over.is_set():
            try:
                bench, _ = self._listener.accept()
            except TimeoutError:
                continue
            try:
                deck = socket.create_connection(("127.0.0.1", self.deck_port), 1.0)
            except OSError:
                bench.close()
                continue
            for end in (bench, deck):
                end.settimeout(0.2)
                end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for run in (self._send, self._return):
                thread = threading.Thread(target=run, args=(bench, deck))
                self._threads.append(thread)
                thread.start()

    def _send(self, bench: socket.socket, deck: socket.socket) -> None:
        try:
            deck.sendall(self._take(bench, GREETING_BYTES))
            while True:
                head = self._take(bench, SENT.size)
                samples = self._take(bench, 4 * SENT.unpack(head)[0] * self._tracks)
                if np.abs(np.frombuffer(samples, "<f4")).max() > 1e-4:
                    self.sounded_s = time.monotonic()
                deck.sendall(head + samples)
        except OSError:
            pass
        finally:
            _hang_up(bench, deck)

    def _return(self, bench: socket.socket, deck: socket.socket) -> None:
        heard = self._losses()
        next(heard)
        try:
            while not self._over.is_set():
                try:
                    piece = deck.recv(65_536)
                except TimeoutError:
                    continue
                if not piece:
                    break
                heard.send(piece)
                bench.sendall(piece)
        except OSError:
            pass
        finally:
            _hang_up(bench, deck)

    def _losses(self) -> Generator[None, bytes, None]:
        """Count them in the pieces of what a deck returns: a line, then blocks."""
        waiting = bytearray()
        while b"\n" not in waiting:
            waiting += yield
        del waiting[: waiting.index(b"\n") + 1]
        while True:
            while len(waiting) < RETURNED.size:
                waiting += yield
            frames, _, lost = RETURNED.unpack_from(waiting)
            self.lost += lost
            whole = RETURNED.size + 4 * frames * self._tracks
            while len(waiting) < whole:
                waiting += yield
            del waiting[:whole]

    def _take(self, end: socket.socket, count: int) -> bytes:
        taken = bytearray()
        while len(taken) < count:
            if self._over.is_set():
                raise ConnectionResetError
            try:
                piece = end.recv(count - len(taken))
            except TimeoutError:
                continue
            if not piece:
                raise ConnectionResetError
            taken += piece
        return bytes(taken)


def _hang_up(*ends: socket.socket) -> None:
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
        end.close()
