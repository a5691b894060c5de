"""Steps: what is kept comes back as it was, and another line-up goes on from it."""

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import Kept, LineUp, Plan, plan_from_state
from fluxbench.lineup._peak import Peak
from fluxbench.lineup._steps import frozen, thawed
from fluxbench.measure import HOP_S, Hop

NUMBERS = st.floats(width=64)
ARRAYS = st.lists(NUMBERS, min_size=1, max_size=4).map(np.array)
RESULTS = st.recursive(
    st.none() | st.booleans() | st.integers(-1000, 1000) | NUMBERS | st.text() | ARRAYS,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.tuples(inner, inner)
        | st.dictionaries(st.integers(0, 9) | st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(RESULTS)
def test_a_result_comes_back_from_json_as_it_was(result: Any) -> None:
    again = thawed(json.loads(json.dumps(frozen(result), allow_nan=False)))
    np.testing.assert_equal(again, result)
    assert type(again) is type(result)


def test_a_peak_comes_back() -> None:
    peaks = {3: Peak(-18.9, 0.02, 0.4)}
    assert thawed(json.loads(json.dumps(frozen(peaks)))) == peaks


class Short(LineUp):
    """Ask, level, ask, level with a part, level; the first tone is heard on both tracks."""

    def _run(self) -> Any:
        if not self._recalling:
            yield
        self.stage("reproduce")
        yield from self.ask("load", "load it", tape="calibration")
        first = yield from self.levels(0.5)
        self.write("first", level_db=first[0])
        yield from self.ask("transport", "play", state="play")
        yield from self.step("long", self._long())
        self.stage("sync")
        last = yield from self.levels(0.5)
        self.write("last", sum_db=first[0] + last[0])

    def _long(self) -> Any:
        self.parts_before = self.steps.parts("half")
        if not self.parts_before:
            yield from self.levels(0.3)
            self.steps.keep_part("half", 0.5)
        yield from self.levels(0.3)
        return 7


@pytest.fixture(scope="module")
def plan() -> Plan:
    deck = PracticeDeck(tracks=2)
    return plan_from_state(deck.load("calibration"), deck.load("stock"))


class Run:
    """Feeds a line-up with a steady tone, and acknowledges what it asks."""

    def __init__(self, lineup: LineUp, first_frame: int = 0) -> None:
        self.lineup = lineup
        self.kept: list[Kept] = []
        self.asked: list[int] = []
        self.frame = first_frame

    def until(self, done: Any) -> None:
        for _ in range(2000):
            if done():
                return
            envelope = np.full((20, len(self.lineup.tones), 2), 0.15, np.complex64)
            hop = Hop(self.frame, 960, self.lineup.tones, envelope, np.full(2, 0.15, np.float32),
                      np.full(2, 0.15**2), False)  # fmt: skip
            self.frame += 960
            self.lineup.see(hop)
            self.kept += self.lineup.steps.fresh
            self.lineup.steps.fresh.clear()
            ask = self.lineup.view.ask
            if ask is not None and (not self.asked or self.asked[-1] != ask.number):
                self.asked.append(ask.number)
                self.lineup.acknowledge(ask.number)
        raise AssertionError("it does not go on")


def journal(lineup: LineUp) -> list[dict[str, Any]]:
    return [{k: v for k, v in e.items() if k != "t"} for e in lineup.journal]


def whole(plan: Plan) -> Run:
    run = Run(Short(plan))
    run.until(lambda: run.lineup.view.closed)
    return run


@pytest.mark.parametrize("steps", range(7))
def test_after_any_step_another_line_up_goes_on(plan: Plan, steps: int) -> None:
    """It asks and measures only what is left, and both journals together are one."""
    complete = whole(plan)
    broken = Run(Short(plan))
    broken.until(lambda: len(broken.kept) >= steps)
    past = [Kept(**json.loads(json.dumps(fields(k)))) for k in broken.kept]
    time_s = broken.frame / 960 * HOP_S
    again = Run(Short(plan, past, time_s), broken.frame)
    assert again.lineup.time_s == time_s
    again.until(lambda: again.lineup.view.closed)
    done = sum(not k.is_part for k in past)
    assert [k.number for k in again.kept if not k.is_part] == list(range(done, 5))
    assert journal(broken.lineup) + journal(again.lineup) == journal(complete.lineup)


def fields(kept: Kept) -> dict[str, Any]:
    return {name: getattr(kept, name) for name in Kept.__slots__}


def test_parts_of_the_step_that_was_running_are_kept(plan: Plan) -> None:
    broken = Run(Short(plan))
    broken.until(lambda: any(k.is_part for k in broken.kept))
    again = Run(Short(plan, broken.kept, 1.0))
    again.until(lambda: again.lineup.view.closed)
    assert again.lineup.parts_before == [0.5]
    assert again.asked == []


def test_leaving_a_stage_is_kept(plan: Plan) -> None:
    run = Run(LineUp(plan))
    run.until(lambda: run.lineup.view.ask is not None)
    run.lineup.leave(None, "no time")
    assert run.lineup.view.stage == "prepare"
    assert run.lineup.journal[-2]["what"] == "skipped"
    run.lineup.leave("input check", "after all")
    assert run.lineup.view.stage == "input check"
    again = LineUp(plan, run.lineup.steps.fresh, 1.0)
    assert again.view.stage == "input check"
    assert again.journal == []
    assert LineUp(plan, run.lineup.steps.fresh[:1], 1.0).view.stage == "prepare"


def test_steps_of_another_version_are_measured_anew(plan: Plan) -> None:
    run = whole(plan)
    past = [k if k.number < 3 else Kept(k.number, "strange", k.value, k.state) for k in run.kept]
    again = Run(Short(plan, past, 1.0))
    again.until(lambda: again.lineup.view.closed)
    assert [k.number for k in again.kept if not k.is_part] == [3, 4]
