"""One hand on the controls: whose writes are carried out, and how they change hands."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

ANSWER_WITHIN_S = 15.0
"""A holder that does not answer for so long lets the controls be taken."""
SETTLES_WITHIN_S = 10.0
"""A write ends sooner than that, or answers that it could not be carried out."""


@dataclass(frozen=True, slots=True)
class Ask:
    """Somebody who watches would like to have the controls."""

    by: str
    since_s: float


class Hand:
    """Who holds the controls. Names are ids of devices, or that of the desk.

    Writes of two of them never overlap: those of a new holder wait for what the one before has
    begun. All of it belongs to one event loop.
    """

    def __init__(self, holder: str, clock_s: Callable[[], float] = time.monotonic) -> None:
        self.holder = holder
        self.ask: Ask | None = None
        self._clock_s = clock_s
        self._writes: dict[str, int] = {}
        self._ended = asyncio.Condition()

    @asynccontextmanager
    async def writing(self, who: str) -> AsyncIterator[bool]:
        """For as long as a write takes: True once it may be carried out, False if it may not."""
        if not await self._turn_of(who):
            yield False
            return
        self._writes[who] = self._writes.get(who, 0) + 1
        try:
            yield True
        finally:
            self._writes[who] -= 1
            if not self._writes[who]:
                del self._writes[who]
            async with self._ended:
                self._ended.notify_all()

    async def _turn_of(self, who: str) -> bool:
        """Whether it is the holder's, once no other's write is under way."""
        try:
            async with asyncio.timeout(SETTLES_WITHIN_S), self._ended:
                await self._ended.wait_for(lambda: who != self.holder or set(self._writes) <= {who})
        except TimeoutError:
            return False
        return who == self.holder

    def wait_s(self) -> float:
        """How long whoever asks must still wait until the controls may be taken."""
        if self.ask is None:
            return ANSWER_WITHIN_S
        return max(0.0, self.ask.since_s + ANSWER_WITHIN_S - self._clock_s())

    def wish(self, who: str) -> None:
        """Somebody asks; who asks again does not begin to wait anew."""
        if self.ask is None or self.ask.by != who:
            self.ask = Ask(who, self._clock_s())

    def unwish(self) -> None:
        """Nobody asks any more."""
        self.ask = None

    def pass_to(self, who: str) -> None:
        """From now on another one writes."""
        self.holder, self.ask = who, None
