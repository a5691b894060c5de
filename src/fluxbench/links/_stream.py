"""A deck in another process of this machine, its samples on a port: no sound server is needed."""

import json
import socket
import struct

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, DeviceLostError, Flag, LinkError, MisuseError, NoServerError
from fluxbench.links._duplex_ring import SilenceKey
from fluxbench.links._sends import check_send

GREETING = b"fluxbench samples 1\n"
"""What the bench says first; the deck answers with one line of JSON: rate_hz, tracks."""
SENT = struct.Struct("<I")
"""Frames that follow, float32 little-endian, all tracks of a frame together."""
RETURNED = struct.Struct("<IQI")
"""Frames that follow, number of the first one, 1 if frames were lost before it."""
GIVEN_UP_S = 1.0


class StreamLink:
    """A link to `fluxbench deck --samples-port`; the deck gives the pace, as a real one does.

    NoServerError if no deck answers at the port, DeviceLostError when it goes away or stands
    still for a second. While `silence` is set, what is sent is silence.
    """

    def __init__(self, port: int, silence: SilenceKey | None = None) -> None:
        self._silence = silence
        self._open = False
        try:
            self._socket = socket.create_connection(("127.0.0.1", port), GIVEN_UP_S)
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            raise NoServerError(
                f"no deck offers its samples at port {port} ({reason}); "
                "start it with `fluxbench deck --samples-port`"
            ) from None
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.settimeout(GIVEN_UP_S)
        try:
            self._socket.sendall(GREETING)
            told = json.loads(self._line())
            self._rate_hz, self._tracks = int(told["rate_hz"]), int(told["tracks"])
        except (OSError, ValueError, KeyError, TypeError) as error:
            self._socket.close()
            raise NoServerError(
                f"what answers at port {port} is no deck ({' '.join(str(error).split())}); "
                "give the port of `fluxbench deck --samples-port`"
            ) from None
        self._open = True

    @property
    def rate_hz(self) -> int:
        return self._rate_hz

    @property
    def inputs(self) -> int:
        return self._tracks

    @property
    def outputs(self) -> int:
        return self._tracks

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Send a block and wait for its return."""
        check_send(send, self.outputs)
        if not self._open:
            raise LinkError("the link to the deck is closed; open a new one")
        if self._silence is not None and self._silence.is_set():
            send = np.zeros_like(send)
        try:
            self._socket.sendall(SENT.pack(len(send)) + send.astype("<f4", "C").tobytes())
            frames, first, lost = RETURNED.unpack(self._take(RETURNED.size))
            if frames != len(send):
                raise LinkError(f"the deck gave back {frames} frames for {len(send)}")
            samples = np.frombuffer(self._take(4 * frames * self._tracks), "<f4")
        except OSError as error:
            raise DeviceLostError(
                f"the deck has gone away ({' '.join(str(error).split())}); start it again"
            ) from None
        flags = Flag.INPUT_LOST | Flag.OUTPUT_LOST if lost else Flag.NONE
        return Block(samples.reshape(frames, self._tracks).astype(np.float32), first, flags)

    def close(self) -> None:
        """End the link; the deck stays as it is."""
        self._open = False
        self._socket.close()

    def _take(self, count: int) -> bytes:
        taken = bytearray()
        while len(taken) < count:
            piece = self._socket.recv(count - len(taken))
            if not piece:
                raise ConnectionResetError("it hung up")
            taken += piece
        return bytes(taken)

    def _line(self) -> bytes:
        line = bytearray()
        while not line.endswith(b"\n"):
            if len(line) > 1000:
                raise MisuseError("its greeting has no end")
            line += self._take(1)
        return bytes(line)
