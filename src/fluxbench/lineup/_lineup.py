"""The whole line-up, from plan to close: fed with hops, it says what to send, ask and advise."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._point import HOPS_PER_POINT, Point
from fluxbench.lineup._steps import Kept, Leave
from fluxbench.lineup._telling import Stop
from fluxbench.lineup._visits import Visit, go, next_visit, visits
from fluxbench.measure import Hop


class LineUp(Bench):
    """A running line-up. Feed it hops with `see`; read `signal`, `tones`, `view` and `journal`.

    It has no clock: time is counted in frames of the hops. What it has kept (`steps.fresh`) makes
    another one, given as `past` with the time that had passed, go on where this one is.
    """

    IN_STAGES = True
    """Whether a stage can be left for another one; what is one piece can only be stopped."""

    def __init__(self, plan: Plan, past: Sequence[Kept] | None = None, time_s: float = 0.0) -> None:
        super().__init__(plan, past, time_s)
        self._hops: list[Hop] = []
        self._course = self._run()
        self._advance(lambda: next(self._course))
        self._recalling = False

    def see(self, hop: Hop) -> None:
        """Take the next hop."""
        if self.view.closed:
            return
        if self._hops and hop.frequencies_hz != self._hops[0].frequencies_hz:
            self._hops.clear()
        self._hops.append(hop)
        if len(self._hops) < HOPS_PER_POINT:
            return
        point = Point(self._hops, self.plan.zero_dbfs)
        point.level_db[:, ~self.live] = np.nan
        self._hops.clear()
        self.time_s = point.time_s
        self.view = replace(self.view, time_s=self.time_s)
        self._advance(lambda: self._course.send(point))

    def put_back(self, on: bool = True) -> None:
        """Have the trimmer in hand go back to where it was found, or (off) to its target after all.

        A trimmer that is put back is taken as it is then, and not offered again in this stage.
        """
        shown = self.view.advice
        if shown is None or self.view.closed:
            return
        if self.steps.goes_back(shown.trimmer, shown.track) != on:
            self.steps.put_back(shown.trimmer, shown.track, on)
            self.write("put back", trimmer=shown.trimmer, track=shown.track, on=on)

    def leave(self, to: str | None, reason: str) -> None:
        """Leave the running stage for another one, or (None) for the next; on from there."""
        if not self.view.closed:
            self._advance(lambda: self._course.throw(Leave(to, reason)))

    def _advance(self, go_on: Callable[[], None]) -> None:
        try:
            go_on()
        except StopIteration:
            self._close(None)
        except Stop as stop:
            self._close(str(stop))

    def stop(self, reason: str) -> None:
        """End the line-up here."""
        if not self.view.closed:
            self._close(reason)

    def _close(self, reason: str | None) -> None:
        self.silence()
        self.write("stopped" if reason else "closed", reason=reason)
        self.view = replace(self.view, ask=None, advice=None, closed=True, stopped=reason)

    def _run(self) -> Procedure:
        plan = self.plan
        self.write("plan", tracks=plan.tracks, speed_ips=plan.speed_ips,
                   operating_nwb_per_m=plan.operating_nwb_per_m,
                   calibration_nwb_per_m=plan.calibration_nwb_per_m,
                   over_bias_db=plan.over_bias_db, over_bias_hz=plan.over_bias_hz)  # fmt: skip
        for remark in plan.remarks:
            self.note(remark)
        if not self._recalling:
            yield
        course = self.course()
        at = 0
        while at < len(course):
            try:
                yield from go(self, course[at])
                at += 1
            except Leave as leave:
                skipped = course[at].stage
                at = next_visit(course, at, leave.to)
                self._go(skipped, leave)

    def course(self) -> Sequence[Visit]:
        """What is gone through, in order."""
        return visits(self.plan)

    def _go(self, left: str, leave: Leave) -> None:
        self.silence()
        self.view = replace(self.view, ask=None, advice=None)
        if leave.again:
            return
        self.steps.keep("leave", [leave.to, leave.reason], self._state())
        if leave.to is None:
            self.write("skipped", stage=left, reason=leave.reason)
        else:
            self.write("repeated", stage=leave.to, reason=leave.reason)
