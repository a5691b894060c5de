"""What the short procedures have in common: one stage, on the session's own stock."""

from fluxbench.lineup._bench import Procedure
from fluxbench.lineup._lineup import LineUp


class OneStage(LineUp):
    """Has the stock recorded on all tracks, does its work, and has the tape stopped."""

    IN_STAGES = False
    NAME = ""
    """Of its only stage."""
    LOAD = "load the session's stock"
    DONE = ""

    def _run(self) -> Procedure:
        if not self._recalling:
            yield
        self.stage(self.NAME)
        yield from self.ask("load", self.LOAD, tape="stock")
        yield from self.record_all()
        yield from self._work()
        self.silence()
        yield from self.ask("transport", self.DONE, state="stop", ready=[], monitor="reproduce")

    def _work(self) -> Procedure:
        """What this procedure is about; the tape runs and records."""
        raise NotImplementedError
