"""At what rate frames really come: another program may change an interface's rate underneath."""

import statistics
from collections import deque

PIECE_S, PIECES = 2.0, 5
OFF = 0.03
"""Further from its rate than any clock is, nearer than 44.1 and 48 kHz are: our choice."""


class Pace:
    """Counts frames against the clock on the wall, in pieces of 2 s in which none was lost."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._begin: tuple[int, float] | None = None
        self._seen_hz: deque[float] = deque(maxlen=PIECES)

    def see(self, frame: int, now_s: float, *, lost: bool) -> float | None:
        """So many frames have come by now; the rate in Hz if it is not what it should be.

        That is the median of the newest 10 s, so that a machine that was late now and then, and
        then was given all that waited, changes nothing.
        """
        if lost or self._begin is None:
            self._begin = (frame, now_s)
            return None
        then, then_s = self._begin
        if now_s - then_s < PIECE_S:
            return None
        self._begin = (frame, now_s)
        self._seen_hz.append((frame - then) / (now_s - then_s))
        pace_hz = statistics.median(self._seen_hz)
        is_off = abs(pace_hz - self._rate_hz) > OFF * self._rate_hz
        return pace_hz if is_off and len(self._seen_hz) == PIECES else None
