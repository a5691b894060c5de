"""A procedure that takes readings without end, for tests of what is around a procedure."""

from typing import Any

from fluxbench.lineup import LineUp


class TenASecond(LineUp):
    """First an ask, then ten readings a second, each a step of its own, with a tone on."""

    asks = True

    def _run(self) -> Any:
        if not self._recalling:
            yield
        self.stage("reproduce")
        if self.asks:
            yield from self.ask("transport", "play", state="play", ready=[])
        self.send((1000.0, -6.0))
        while True:
            number = self.steps.number
            level = yield from self.step("reading", self._one(number))
            self.write("taken", trimmer="reproduce_level", track=1, reading_db=float(level),
                       error_db=0.01, number=number)  # fmt: skip

    def _one(self, number: int) -> Any:
        point = yield
        self.begun(number)
        return float(point.level_db[0, 0])

    def begun(self, number: int) -> None:
        """Told when what a reading needs begins to come."""
