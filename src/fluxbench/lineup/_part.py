"""Parts of a line-up: some of its stages, and the first turns of somebody new to it."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._azimuth import GLANCE_S, NEARLY, azimuth
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._stages_before import input_check
from fluxbench.lineup._stages_record import bias_stage, close, load_stock
from fluxbench.lineup._stages_reproduce import reproduce, stop_tape
from fluxbench.lineup._steps import Kept
from fluxbench.lineup._visits import COURSE, Visit, straight

FIRST_TURNS_STAGES = ("input check", "reproduce", "load", "bias", "close")
FIRST_BIAS_TRACK = 3
"""The track (from 1) whose bias is set in the first turns, where there are so many."""


class PartOfLineUp(LineUp):
    """The stages that are named, in the order of a line-up; the input check and the close always.

    The calibration tape is taken for what its sheet says: it is not played through first.
    MisuseError for a stage that there is not.
    """

    def __init__(
        self,
        plan: Plan,
        stages: Sequence[str],
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        for name in stages:
            if name not in COURSE:
                raise MisuseError(f"no stage is called {name!r}; there are {', '.join(COURSE)}")
        self._named = {*stages, "input check", "close"}
        super().__init__(plan, past, time_s)

    def course(self) -> Sequence[Visit]:
        """Those of the whole, without the pass over the tape."""
        heads = {h: partial(reproduce, head=h, pass_first=False) for h in ("reproduce", "sync")}
        course = [replace(v, run=heads.get(v.stage, v.run)) for v in straight(self.plan)]
        return [visit for visit in course if visit.stage in self._named]


class FirstTurns(LineUp):
    """Three kinds of trimmers in two minutes: levels, the reproduce azimuth, bias of one track."""

    def course(self) -> Sequence[Visit]:
        """In the order of a line-up."""
        runs = (input_check, _first_reproduce, load_stock, _first_bias, close)
        return [Visit(name, run) for name, run in zip(FIRST_TURNS_STAGES, runs, strict=True)]


def _first_reproduce(bench: Bench) -> Procedure:
    """Levels that are out, then the angle, nearly."""
    plan = bench.plan
    bench.stage("reproduce")
    yield from bench.ask("load", "load the calibration tape", tape="calibration")
    yield from bench.play_section(plan.level_section, "reproduce")
    job = Job("reproduce_level", plan.tolerances.level, 0.6, lambda point: point.level_db[0])
    yield from adjust(bench, job, plan.calibration_target_db(plan.level_section))
    if plan.tracks > 1:
        yield from bench.play_section(plan.azimuth_section, "reproduce")
        yield from azimuth(bench, "reproduce_azimuth", 0.0, NEARLY, GLANCE_S)
    yield from stop_tape(bench)


def _first_bias(bench: Bench) -> Procedure:
    """Bias of one track; all others stay as they are."""
    in_use = bench.in_use.copy()
    only = min(FIRST_BIAS_TRACK, bench.plan.tracks)
    bench.in_use = in_use & (np.arange(bench.plan.tracks) + 1 == only)
    bench.plug(bench.cables)
    try:
        yield from bias_stage(bench)
    finally:
        bench.in_use = in_use
        bench.plug(bench.cables)
