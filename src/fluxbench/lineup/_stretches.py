"""Stretches of the return that are measured as a whole, for what envelopes do not hold."""

from collections.abc import Generator

from fluxbench.base import Validity
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._point import Point
from fluxbench.lineup._telling import Telling
from fluxbench.measure import Measured, Wanted

MOST_STRETCHES = 3


class Stretches(Telling):
    """The part of the bench that wants stretches; whoever runs it has them measured."""

    def __init__(self, plan: Plan, time_s: float, recalling: bool) -> None:
        super().__init__(plan, time_s, recalling)
        self.wanted_stretch: Wanted | None = None
        """What the return is to be kept for now."""
        self._measured: list[Measured] = []
        self._stretches = 0

    def hear(self, measured: Measured) -> None:
        """Take what came of the stretch that was wanted."""
        wanted = self.wanted_stretch
        if wanted is not None and measured.number == wanted.number:
            self._measured.append(measured)

    def stretch(
        self, kind: str, seconds: float, frequency_hz: float = 0.0, driven: int = 0
    ) -> Generator[None, Point, Measured]:
        """Have a stretch of the return measured as a whole; see `measure.Wanted`.

        `driven` counts from 0. A stretch in which frames were lost is wanted again, up to three
        times.
        """
        for _ in range(MOST_STRETCHES):
            self._stretches += 1
            self._measured.clear()
            self.wanted_stretch = Wanted(self._stretches, kind, seconds, frequency_hz, driven + 1)
            while not self._measured:
                yield
            self.wanted_stretch = None
            if any(told is not Validity.GAP for told in self._measured[0].validity):
                break
        return self._measured[0]
