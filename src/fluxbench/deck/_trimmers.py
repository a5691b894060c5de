"""Trimmers as hands find them: a knob, some backlash, a law, and a sense nobody wrote down."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.deck._machine import cut_normal

PER_TRACK = (
    "reproduce_level", "reproduce_high", "reproduce_low", "bias", "record_level", "record_high",
    "sync_level", "sync_high",
)  # fmt: skip
PER_STACK = ("reproduce_azimuth", "record_azimuth")

TURNS = 20.0
SECONDS_PER_TURN = 1.0
SECONDS_TO_START = 0.15


@dataclass(frozen=True, slots=True)
class Motion:
    """A turn on its way: the knob moves evenly until nothing is left."""

    index: int
    left_turns: float
    turns_per_s: float


class Bank:
    """All trimmers of one kind, one per track (or a single one for a stack).

    The value of a trimmer is `sense * span * (z + curve z³)/(1 + curve)` with z from -1 to 1 over
    its turns. The span is half the range, in the unit of the kind.
    """

    def __init__(
        self, kind: str, count: int, span_db_or_arcmin: float, rng: np.random.Generator
    ) -> None:
        self.kind = kind
        self.count = count
        self._span = span_db_or_arcmin
        self._sense = np.where(rng.random(count) < 0.06, -1.0, 1.0) * rng.choice([-1.0, 1.0])
        self._curve = rng.uniform(0.1, 0.6, count)
        self._backlash_turns = rng.uniform(0.01, 0.05, count)
        self._wiper_turns = np.full(count, TURNS / 2)
        self._knob_turns = self._wiper_turns.copy()
        self._motions: tuple[Motion, ...] = ()
        self.values = np.zeros(count)
        self._update()

    def set_values(self, values: NDArray[np.float64]) -> None:
        """Put the wipers where they give these values (as far as the range goes)."""
        for i in range(self.count):
            wanted = float(np.clip(values[i] / (self._sense[i] * self._span), -1.0, 1.0))
            curve = self._curve[i]
            roots = np.roots([curve, 0.0, 1.0, -wanted * (1.0 + curve)])
            z = float(roots[np.argmin(np.abs(roots.imag))].real)
            self._wiper_turns[i] = (z + 1.0) * TURNS / 2
        self._knob_turns = self._wiper_turns.copy()
        self._update()

    def deal(self, cards: NDArray[np.int_]) -> None:
        """Have each place hold another card's trimmer (count,), with its sense, law and slack."""
        for name in ("_sense", "_curve", "_backlash_turns", "_wiper_turns", "_knob_turns"):
            setattr(self, name, getattr(self, name)[cards])
        self._motions = ()
        self._update()

    @property
    def places_turns(self) -> NDArray[np.float64]:
        """Where wipers and knobs stand, (2, count)."""
        return np.stack([self._wiper_turns, self._knob_turns])

    def put(self, places_turns: NDArray[np.float64]) -> None:
        """Put wipers and knobs where they stood, (2, count); `MisuseError` for another deck's."""
        if places_turns.shape != (2, self.count) or not np.all(np.abs(places_turns) <= TURNS):
            raise MisuseError(f"the places of {self.kind} do not fit this deck; set it up anew")
        self._wiper_turns, self._knob_turns = places_turns.copy()
        self._motions = ()
        self._update()

    def turn(self, index: int, turns: float) -> float:
        """Begin to turn; give back the seconds until the hand is done, waiting turns included."""
        self._motions += (Motion(index, turns, np.sign(turns) / SECONDS_PER_TURN),)
        waiting = sum(abs(m.left_turns) for m in self._motions) * SECONDS_PER_TURN
        return waiting + SECONDS_TO_START

    @property
    def stands_turns(self) -> NDArray[np.float64]:
        """Where the knobs stand once the hands are done, from 0 to `TURNS` clockwise, (count,)."""
        stands = self._knob_turns.copy()
        for motion in self._motions:
            stands[motion.index] = np.clip(stands[motion.index] + motion.left_turns, 0.0, TURNS)
        return stands

    @property
    def turning(self) -> bool:
        return bool(self._motions)

    def advance(self, seconds: float) -> list[int]:
        """Let the hands move for a while; give back the trimmers whose value changed."""
        moved: list[int] = []
        if not self._motions:
            return moved
        self._knob_turns, self._wiper_turns = self._knob_turns.copy(), self._wiper_turns.copy()
        while self._motions and seconds > 0.0:
            motion = self._motions[0]
            left = abs(motion.left_turns)
            step = np.clip(motion.turns_per_s * seconds, -left, left)
            seconds -= abs(step) * SECONDS_PER_TURN
            rest = replace(motion, left_turns=motion.left_turns - step)
            i = motion.index
            self._knob_turns[i] = np.clip(self._knob_turns[i] + step, 0.0, TURNS)
            knob, half = self._knob_turns[i], self._backlash_turns[i] / 2
            dragged = np.clip(self._wiper_turns[i], knob - half, knob + half)
            if dragged != self._wiper_turns[i]:
                self._wiper_turns[i] = np.clip(dragged, 0.0, TURNS)
                moved.append(i)
            done = abs(rest.left_turns) < 1e-9
            self._motions = self._motions[1:] if done else (rest, *self._motions[1:])
        if moved:
            self._update()
        return moved

    def _update(self) -> None:
        z = 2.0 * self._wiper_turns / TURNS - 1.0
        self.values = self._sense * self._span * (z + self._curve * z**3) / (1.0 + self._curve)


SPANS_DB = {"bias": 10.0, "reproduce_low": 6.0}
OTHER_SPANS_DB = 8.0
SPAN_ARCMIN = 15.0
SPAN_2_INCH_ARCMIN = 8.0


def banks(tracks: int, tape_width_mm: float, rng: np.random.Generator) -> dict[str, Bank]:
    """All trimmers of a deck by kind."""
    stack_arcmin = SPAN_2_INCH_ARCMIN if tape_width_mm > 50.0 else SPAN_ARCMIN
    found = {k: Bank(k, tracks, SPANS_DB.get(k, OTHER_SPANS_DB), rng) for k in PER_TRACK}
    return found | {k: Bank(k, 1, stack_arcmin, rng) for k in PER_STACK}


def seen(trimmers: Mapping[str, Bank]) -> dict[str, Any]:
    """What a person sees of the trimmers: which there are, and where each knob stands."""
    stands = {kind: bank.stands_turns.round(5).tolist() for kind, bank in trimmers.items()}
    return {
        "per_track": list(PER_TRACK),
        "per_stack": list(PER_STACK),
        "turns": int(TURNS),
        "stands_turns": stands,
    }


AS_FOUND_DB = {
    "reproduce_level": 1.2, "record_level": 1.2, "sync_level": 1.2,
    "reproduce_high": 1.0, "record_high": 1.0, "sync_high": 1.0,
    "reproduce_low": 1.0, "bias": 1.5,
}  # fmt: skip
"""How far (rms) trimmers are off as found."""
AS_FOUND_ARCMIN_AT_QUARTER_INCH = 2.0


def leave_as_found(
    trimmers: Mapping[str, Bank],
    ideal: Mapping[str, NDArray[np.float64]],
    tape_width_mm: float,
    rng: np.random.Generator,
) -> None:
    """Put all trimmers of a deck beside their ideal, as somebody left them."""
    for kind, bank in trimmers.items():
        off = AS_FOUND_ARCMIN_AT_QUARTER_INCH * (6.3 / tape_width_mm) ** 0.5
        off = AS_FOUND_DB.get(kind, off)
        bank.set_values(ideal[kind] + off * cut_normal(rng, bank.count))
