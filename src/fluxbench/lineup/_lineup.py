"""The whole line-up, from plan to close: fed with hops, it says what to send, ask and advise."""

from dataclasses import replace

from fluxbench.lineup._bench import HOPS_PER_POINT, Bench, Point, Procedure, Stop
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._stages_record import (
    bias_stage,
    load_stock,
    low_stage,
    record_azimuth,
    record_stages,
    verify,
)
from fluxbench.lineup._stages_reproduce import input_check, reproduce, safe_check
from fluxbench.measure import Hop


class LineUp(Bench):
    """A running line-up. Feed it hops with `see`; read `signal`, `tones`, `view` and `journal`.

    It has no clock: time is counted in frames of the hops.
    """

    def __init__(self, plan: Plan) -> None:
        super().__init__(plan)
        self._hops: list[Hop] = []
        self._course = self._run()
        next(self._course)

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
        self._hops.clear()
        self.time_s = point.time_s
        self.view = replace(self.view, time_s=self.time_s)
        try:
            self._course.send(point)
        except StopIteration:
            self._close(None)
        except Stop as stop:
            self._close(str(stop))

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
        yield
        yield from input_check(self)
        yield from safe_check(self)
        self.stage("reproduce")
        level_left, high_left = yield from reproduce(self, "reproduce")
        if {"sync_level", "sync_high"} & plan.trimmers:
            self.stage("sync")
            yield from reproduce(self, "sync")
        yield from self.ask(
            "transport", "stop the calibration tape", state="stop", ready=[], monitor="reproduce"
        )
        yield from load_stock(self)
        yield from record_azimuth(self, "azimuth")
        yield from bias_stage(self)
        yield from record_stages(self, level_left, high_left)
        yield from record_azimuth(self, "azimuth again")
        yield from low_stage(self)
        yield from verify(self, level_left, high_left)
        self.stage("close")
        yield from self.ask(
            "transport", "stop; the line-up is done", state="stop", ready=[], monitor="reproduce"
        )
