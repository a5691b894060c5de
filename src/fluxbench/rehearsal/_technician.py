"""The practising technician: reads what the bench shows, turns with human hands.

He looks at the view, reacts after 0.3 s, turns by the shown deviation with 20 % error and some
overshoot, learns the sense and the reach of each kind of trimmer from his own first turns, and
waits as long as the bench says before he believes a reading. When the bench goes on to the next
trimmer, so does he.
"""

from collections.abc import Callable, Generator, Mapping
from typing import Any

import numpy as np

from fluxbench.base import Cables, DeckError
from fluxbench.lineup import Advice, Ask, View, cables_from_told
from fluxbench.links import DeckControls
from fluxbench.rehearsal._experience import TURNS_BACK, Experience, further, sweeping

REACTION_S = 0.3
PLUGGING_S = 3.0
"""For the cables of one track."""
LOOK_AGAIN_S = 0.2
LONGEST_WIND_S = 600.0
TURN_ERROR = 0.2
OVERSHOOT = 1.05
TRIAL_TURNS = 0.25
MOST_TURNS = 3.0
SLOT_TURNS, SLOT_RATIO = 0.02, 0.05
"""How well he comes back to a part of the way between two marks: the slot of the screw shows it."""
MOST_REFUSED = 3
"""So many turns in a row that the deck refuses or does not answer, then he gives up."""
UNMOVED = 0.015
"""A turn that moved less than this (dB or arc-minutes) was in vain."""
MOST_SOUGHT_TURNS, MOST_LEFT_TURNS = 1.5, 2.0
"""At once while bias is sought, and while it is told about how far it has to go."""
PATIENCE_S = {"bias": 180.0, "reproduce_azimuth": 300.0, "record_azimuth": 300.0}
"""So long he tries a trimmer before he passes it over; any other one `USUAL_PATIENCE_S`."""
USUAL_PATIENCE_S = 120.0

Hands = Generator[None, None, None]


class Technician:
    """Hands at a deck; call `look` with every new view and the time on the clock on the wall."""

    def __init__(
        self, deck: DeckControls, seed: int, plug: Callable[[Cables], None] | None = None
    ) -> None:
        self._deck = deck
        self._plug = plug
        self._rng = np.random.default_rng([seed, 77])
        self._now_s = 0.0
        self._view: View | None = None
        self._answer = 0
        self._reach = Experience()
        self._trial = TRIAL_TURNS
        self._own_reach: dict[tuple[str, int | None], float] = {}
        self._stroke: tuple[str, int, float] = ("", 0, 0.0)
        """Trimmer, way and turns since he last turned back while something is sought."""
        self._refused = 0
        self._in_vain: dict[tuple[str, int | None], int] = {}
        self.turned: list[tuple[float, str, int | None]] = []
        """When he turned what: (seconds, trimmer, track)."""
        self._in_hand: tuple[str, int | None] | None = None
        self._since_s = 0.0
        self.declines: int | None = None
        """The ask that he will not fulfil: what the bench doubts, he does not trust."""
        self.passes_over = False
        """Whether he has just given up the trimmer that is shown."""
        self._hands = self._work()
        next(self._hands)

    def look(self, view: View, now_s: float) -> int | None:
        """See the screen; the number of the ask that he has just fulfilled, or None."""
        self._view, self._now_s, self._answer = view, now_s, 0
        self.passes_over = self._gives_up(view.advice)
        self._hands.send(None)
        return self._answer or None

    def _gives_up(self, advice: Advice | None) -> bool:
        """Whether he has had enough of the trimmer; that tape is wound meanwhile is no rest."""
        in_hand = self._in_hand if advice is None else (advice.trimmer, advice.track)
        if in_hand is None or in_hand != self._in_hand:
            self._in_hand, self._since_s = in_hand, self._now_s
            return False
        tried_s = self._now_s - self._since_s
        tired = advice is not None and tried_s > PATIENCE_S.get(in_hand[0], USUAL_PATIENCE_S)
        if tired:
            self._since_s = self._now_s
        return tired

    def _work(self) -> Hands:
        done = 0
        while True:
            yield
            view = self._view
            if view is None or view.closed:
                continue
            if view.ask is not None and view.ask.number == done:
                continue  # it stands for another moment
            if view.ask is not None and view.ask.kind == "doubt":
                yield from self._wait(REACTION_S)
                self.declines = done = view.ask.number
            elif view.ask is not None:
                yield from self._wait(REACTION_S)
                if view.ask.kind == "cables":
                    yield from self._wait(PLUGGING_S * len(cables_from_told(view.ask.values).heard))
                self._do(view.ask)
                yield from self._wound(view.ask)
                self._answer = done = view.ask.number
            elif view.advice is not None:
                yield from self._trim(view.advice)

    def _do(self, ask: Ask) -> None:
        values = dict(ask.values)
        if ask.kind == "load":
            self._deck.load(values["tape"])
        elif ask.kind == "locate":
            self._deck.locate(**values)
        elif ask.kind == "transport":
            self._deck.transport(**values)
        elif ask.kind == "cables" and self._plug is not None:
            self._plug(cables_from_told(values))

    def _wound(self, ask: Ask) -> Hands:
        """Wait until the tape has come to where it was sent; not every deck says that it winds."""
        state = self._deck.state()
        end_s = self._now_s + LONGEST_WIND_S
        while self._now_s < end_s:
            before_s, since_s = float(state["position_s"]), self._now_s
            if "winding" in state:
                if not state["winding"]:
                    return
            elif ask.kind != "locate" or _is_there(state, ask.values):
                return
            yield from self._wait(LOOK_AGAIN_S)
            state = self._deck.state()
            gone_s = abs(float(state["position_s"]) - before_s)
            if "winding" not in state and gone_s <= 2.0 * (self._now_s - since_s):
                return

    def _trim(self, advice: Advice) -> Hands:
        if advice.deviation is None:
            if advice.way != 0:
                yield from self._sweep(advice)
            return
        if advice.way == 0:
            return
        if advice.back_ratio is not None:
            yield from self._turn_back(advice, advice.back_ratio)
            return
        key = (advice.trimmer, advice.track)
        reach = self._own_reach.get(key, self._reach.of(advice.trimmer))
        reach = self._reach.of(sweeping(advice.trimmer)) if reach is None else reach
        if reach is None:
            turns = self._trial
        else:
            aim = advice.deviation / reach * OVERSHOOT
            turns = float(
                np.clip(
                    aim * (1.0 + TURN_ERROR * self._rng.standard_normal()), -MOST_TURNS, MOST_TURNS
                )
            )
            turns = np.sign(turns) * max(abs(turns), 0.01)
            in_vain = self._in_vain.get(key, 0)
            turns = further(turns, in_vain)
            if in_vain >= TURNS_BACK:  # at its end, by what he believes or by a slip of his
                turns, self._own_reach[key], self._in_vain[key] = -turns, -reach, 0
        yield from self._wait(REACTION_S)
        yield from self._turn(advice.trimmer, turns, advice.track)
        yield from self._await(advice)
        after = self._advice_on(advice)
        if after is None or after.deviation is None:
            return
        moved = advice.deviation - after.deviation
        still = self._reach.of(advice.trimmer) is not None and abs(moved) < UNMOVED
        self._in_vain[key] = self._in_vain.get(key, 0) + 1 if still else 0
        self._learn(key, turns, moved, after.spread)
        known = self._reach.of(advice.trimmer) is not None
        self._trial = TRIAL_TURNS if known else min(2.0 * self._trial, MOST_TURNS)

    def _turn_back(self, advice: Advice, ratio: float) -> Hands:
        """Turn back by a part of the way from one mark to the other."""
        turns = -ratio * self._stroke[2] * (1.0 + SLOT_RATIO * self._rng.standard_normal())
        turns += SLOT_TURNS * self._rng.standard_normal()
        yield from self._wait(REACTION_S)
        yield from self._turn(advice.trimmer, float(turns), advice.track)
        yield from self._await(advice)

    def _learn(
        self, key: tuple[str, int | None], turns: float, moved: float, spread: float
    ) -> None:
        noise = max(0.03, 2.0 * spread if np.isfinite(spread) else 0.1)
        if abs(moved) < 2 * noise or abs(turns) < 0.02:
            if abs(turns) >= TRIAL_TURNS and abs(moved) < noise:
                before = self._own_reach.get(key, self._reach.of(key[0]))
                self._own_reach[key] = 0.7 * (0.5 if before is None else before)
            return
        seen = moved / turns
        known = self._own_reach.get(key, self._reach.of(key[0]))
        if known is not None and np.sign(known) == np.sign(seen):
            seen = float(
                np.clip(seen, 0.4 * known, 2.5 * known)
                if known > 0
                else np.clip(seen, 2.5 * known, 0.4 * known)
            )
            seen = 0.5 * (seen + known)
        self._own_reach[key] = seen
        self._reach.learn(*key, seen)

    def _sweep(self, advice: Advice) -> Hands:
        """Bias: small steps the way the bench says, for as long as it says no more than that."""
        turns = self._step(advice)
        before, begun = advice.moved_db, self._now_s
        total = 0.0
        while True:
            total += turns
            self._count_stroke(advice, turns)
            yield from self._turn(advice.trimmer, turns, advice.track)
            now = self._advice_on(advice)
            if now is None:
                return
            if now.deviation is not None:
                yield from self._wait(now.wait_s)
                return
            if now.way != advice.way:
                return
            if self._now_s - begun > advice.wait_s + 0.8 and abs(total) > 0.2:
                moved = now.moved_db - before
                if abs(moved) > 0.4:
                    self._learn_sweeping(advice, moved, total)
                    return
                if self._now_s - begun > advice.wait_s + 3.0:
                    key = (sweeping(advice.trimmer), advice.track)
                    known = self._own_reach.get(key, self._reach.of(key[0]))
                    self._own_reach[key] = 0.5 * (1.0 if known is None else known)
                    return
            if now.to_go_db is not None:
                turns = self._step(now)

    def _count_stroke(self, advice: Advice, turns: float) -> None:
        trimmer, way, before = self._stroke
        same = (trimmer, way) == (advice.trimmer, advice.way)
        self._stroke = (advice.trimmer, advice.way, before + turns if same else turns)

    def _step(self, advice: Advice) -> float:
        """Turns of one step of a sweep, with the error of a hand."""
        kind = sweeping(advice.trimmer)
        reach = self._own_reach.get((kind, advice.track), self._reach.of(kind))
        if reach is None:
            turns = TRIAL_TURNS * advice.way
        else:
            step_db, most = 0.7, MOST_SOUGHT_TURNS
            if advice.to_go_db is not None:
                step_db, most = 0.75 * max(advice.to_go_db, 0.2), MOST_LEFT_TURNS
            turns = float(np.clip(step_db * advice.way / reach, -most, most))
        return turns * (1.0 + TURN_ERROR * float(self._rng.standard_normal()) * 0.5)

    def _learn_sweeping(self, advice: Advice, moved_db: float, turns: float) -> None:
        kind, reach = sweeping(advice.trimmer), moved_db / turns
        self._own_reach[kind, advice.track] = reach
        self._reach.learn(kind, advice.track, reach)

    def _advice_on(self, advice: Advice) -> Advice | None:
        now = self._view.advice if self._view is not None else None
        if now is None or (now.trimmer, now.track) != (advice.trimmer, advice.track):
            return None
        return now

    def _turn(self, trimmer: str, turns: float, track: int | None) -> Hands:
        self.turned.append((self._now_s, trimmer, track))
        try:
            seconds = self._deck.turn(trimmer, turns, track)
            self._refused = 0
        except DeckError:
            # He looks where it stands and tries again: the turn may have been made.
            self._refused += 1
            if self._refused >= MOST_REFUSED:
                raise
            seconds = LOOK_AGAIN_S
        yield from self._wait(seconds)

    def _await(self, advice: Advice) -> Hands:
        """Wait as long as the bench says, or until it goes on to another trimmer."""
        end = self._now_s + advice.wait_s
        while self._now_s < end and self._advice_on(advice) is not None:
            yield

    def _wait(self, seconds: float) -> Hands:
        end = self._now_s + seconds
        while self._now_s < end:
            yield


def _is_there(state: Mapping[str, Any], values: Mapping[str, Any]) -> bool:
    """Whether the tape stands where it was sent."""
    if values.get("section") is not None:
        return bool(state.get("section") == values["section"])
    return abs(float(state["position_s"]) - float(values["position_s"])) < 1.0
