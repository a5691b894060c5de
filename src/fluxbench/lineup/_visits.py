"""The course of a line-up as visits: which stage, on which tracks, in an order of few cables."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._channels import cables_in_words, cables_told
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._stages_before import input_check, safe_check
from fluxbench.lineup._stages_record import (
    bias_stage,
    close,
    load_stock,
    low_stage,
    record_azimuth,
    record_high_end,
    record_level,
    verify,
)
from fluxbench.lineup._stages_reproduce import (
    reproduce,
    reproduce_across,
    reproduce_bank,
    stop_tape,
    sync,
)

Stage = Callable[[Bench], Procedure]

FIRST_AZIMUTH = partial(record_azimuth, stage="azimuth")
LAST_AZIMUTH = partial(record_azimuth, stage="azimuth again")


@dataclass(frozen=True, slots=True)
class Visit:
    """A stage by its name, and the tracks (from 0) that are to be cabled for it."""

    stage: str
    run: Stage
    tracks: tuple[int, ...] | None = None
    """As they are, if None."""


STRAIGHT = (
    Visit("input check", input_check),
    Visit("prepare", safe_check),
    Visit("reproduce", partial(reproduce, head="reproduce")),
    Visit("sync", sync),
    Visit("load", load_stock),
    Visit("azimuth", FIRST_AZIMUTH),
    Visit("bias", bias_stage),
    Visit("record high end", record_high_end),
    Visit("record level", record_level),
    Visit("azimuth again", LAST_AZIMUTH),
    Visit("low end", low_stage),
    Visit("verify", verify),
    Visit("close", close),
)
"""All tracks at once."""
COURSE = tuple(visit.stage for visit in STRAIGHT)
"""The stages in their order."""


def straight(plan: Plan) -> Sequence[Visit]:
    """All tracks at once; where the channels were chosen, their cables are asked for first."""
    first = STRAIGHT[0] if plan.channels is None else replace(STRAIGHT[0], tracks=plan.banks[0])
    return (first, *STRAIGHT[1:])


def visits(plan: Plan) -> Sequence[Visit]:
    """The visits of a whole line-up.

    Bank by bank, each with everything that needs the same tape; what turns a stack is read from
    edge to edge, before and after.
    """
    banks = plan.banks
    if len(banks) == 1:
        return straight(plan)
    assert plan.channels is not None  # noqa: S101 - there would be one bank
    across = plan.channels.across(plan.tracks)
    course = []
    for bank in banks:
        course += [Visit("input check", input_check, bank), Visit("prepare", safe_check, bank)]
    course.append(Visit("reproduce", reproduce_across, across))
    for bank in banks:
        course += [Visit("reproduce", reproduce_bank, bank), Visit("sync", sync, bank)]
    course.append(Visit("load", load_stock, across))
    course.append(Visit("azimuth", FIRST_AZIMUTH, across))
    if plan.master_bias:
        course.append(Visit("bias", bias_stage, across))
    for bank in banks:
        course.append(Visit("load", load_stock, bank))
        if not plan.master_bias:
            course.append(Visit("bias", bias_stage, bank))
        course.append(Visit("record high end", record_high_end, bank))
        course.append(Visit("record level", record_level, bank))
        course.append(Visit("low end", low_stage, bank))
        course.append(Visit("verify", verify, bank))
    course.append(Visit("azimuth again", LAST_AZIMUTH, across))
    course.append(Visit("close", close))
    return course


def go(bench: Bench, visit: Visit) -> Procedure:
    """Have the tracks of a visit cabled, and run its stage, if any of them is in use."""
    if visit.tracks is not None:
        if not bench.in_use[list(visit.tracks)].any():
            return
        yield from cable(bench, visit.tracks)
    yield from visit.run(bench)


def cable(bench: Bench, tracks: Sequence[int]) -> Procedure:
    """Have some tracks (from 0) cabled, in silence, unless they are."""
    wanted = bench.plan.cables_to(tracks)
    if not bench.cabled or wanted != bench.cables:
        bench.silence()
        if bench.source[0] != "none":
            yield from stop_tape(bench)
            bench.source = ("none", None)
        yield from bench.ask("cables", cables_in_words(wanted), **cables_told(wanted))


def next_visit(course: Sequence[Visit], at: int, to: str | None) -> int:
    """Where to go on after `at` was left for a stage, or (None) for the next one.

    A stage of the same tracks is preferred to one of others.
    """
    if to is None:
        return at + 1
    named = [k for k, visit in enumerate(course) if visit.stage == to]
    same = [k for k in named if course[k].tracks == course[at].tracks]
    return (same or named)[0]
