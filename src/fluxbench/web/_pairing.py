"""The one-time code by which another device is let in: short-lived, and not to be guessed."""

import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass

DIGITS = 6
LASTS_S = 600.0
TRIES = 5
"""Wrong codes after which a code is void and somebody at the desk must draw another."""
FREE_TRIES = 2
"""Wrong codes that cost no wait: fingers slip."""
LONGEST_WAIT_S = 900.0


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a code that was given; `wait_s` until another one is looked at."""

    right: bool
    line: str = ""
    wait_s: float = 0.0


class Pairing:
    """Holds the code, if one is open.

    A code lets one device in, then another is drawn. It is void after `LASTS_S` or `TRIES` wrong
    ones; then none is open until somebody at the desk draws one. From the third wrong code on,
    nothing is looked at for 1, 2, 4 ... `LONGEST_WAIT_S` seconds, whoever asks; the right code
    ends that, and so does whoever draws another at the desk, but the count goes on.
    """

    def __init__(
        self,
        clock_s: Callable[[], float] = time.monotonic,
        draw: Callable[[], str] = lambda: f"{secrets.randbelow(10**DIGITS):0{DIGITS}}",
    ) -> None:
        self._clock_s, self._draw = clock_s, draw
        self._code: str | None = None
        self._ends_s = self._closed_until_s = 0.0
        self._tried = 0
        self.wrong = 0
        """Wrong codes since a device was let in."""

    @property
    def code(self) -> str | None:
        """The code that lets in now, None if none is open."""
        return self._code if self._clock_s() < self._ends_s else None

    @property
    def left_s(self) -> float:
        """How long the code still lets in."""
        return 0.0 if self.code is None else self._ends_s - self._clock_s()

    def open(self) -> None:
        """Draw another code: somebody at the desk wants to let a device in."""
        self._code, self._tried = self._draw(), 0
        self._ends_s = self._clock_s() + LASTS_S
        self._closed_until_s = 0.0

    def close(self) -> None:
        """Let nobody in."""
        self._code = None

    def try_code(self, given: str) -> Tried:
        """Let in whoever gives the code, once."""
        wait_s = self._closed_until_s - self._clock_s()
        if wait_s > 0.0:
            return Tried(False, "too many wrong codes; wait, then try again", wait_s)
        code = self.code
        if code is None:
            return Tried(False, "no code is open; draw one at the desk, under Devices")
        if hmac.compare_digest(given.encode(), code.encode()):
            self.wrong = 0
            self.open()
            return Tried(True)
        return self._wrong()

    def _wrong(self) -> Tried:
        self.wrong += 1
        self._tried += 1
        wait_s = 0.0
        if self.wrong > FREE_TRIES:
            wait_s = min(2.0 ** min(self.wrong - FREE_TRIES - 1, 20), LONGEST_WAIT_S)
            self._closed_until_s = self._clock_s() + wait_s
        if self._tried >= TRIES:
            self._code = None
            return Tried(False, "wrong code, and void now; draw another one at the desk", wait_s)
        return Tried(False, "that is not the code that stands at the desk", wait_s)
