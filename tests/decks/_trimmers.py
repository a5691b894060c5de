"""Trimmers and the hand that turns them: sense, law, backlash, end stops, seconds per turn."""

from __future__ import annotations

from collections import deque

import numpy as np

from tests.decks._magnetics import Floats

TURNS = 15.0
PER_TRACK = (
    "reproduce_level",
    "reproduce_high",
    "reproduce_low",
    "bias",
    "record_level",
    "record_high",
    "sync_level",
    "sync_high",
)
PER_STACK = ("reproduce_azimuth", "record_azimuth")
# Whole range of a trimmer in its own unit: dB, dB of a time constant, arc minutes.
_SPAN = dict.fromkeys(PER_TRACK, 14.0) | {"reproduce_low": 10.0, "bias": 16.0, "record_high": 18.0}
_SPAN |= dict.fromkeys(PER_STACK, 34.0)


class Trimmer:
    """All the pots of one kind, one per row (a single row for a stack)."""

    def __init__(self, kind: str, rows: int, rng: np.random.Generator) -> None:
        self.span = _SPAN[kind]
        self._sense = np.full(rows, rng.choice([-1.0, 1.0]))
        self._sense[rng.random(rows) < (0.08 if rows > 1 else 0.0)] *= -1.0
        self._backlash = rng.uniform(0.01, 0.04, rows)
        self._bend = rng.uniform(-0.25, 0.25, rows)
        self._ends = rng.uniform(0.35, 0.6, rows)
        self._low = np.zeros(rows)
        self.shaft = np.full(rows, TURNS / 2.0)  # where the slider stands
        self.hand = self.shaft.copy()  # where the tool stands
        self._known: tuple[bytes, Floats] | None = None

    def centre_on(self, value: Floats) -> None:
        """Choose the range so that ``value`` is at its middle."""
        self._low = value - self.span * self._law(np.full(len(value), 0.5))

    def _law(self, part: Floats) -> Floats:
        bent = part + self._bend * part * (1.0 - part)
        return np.asarray(bent - self._ends * np.sin(2.0 * np.pi * bent) / (2.0 * np.pi))

    @property
    def value(self) -> Floats:
        """What each pot gives, in the unit of its kind; worked out anew when a slider has moved."""
        stands = self.shaft.tobytes() + self._low.tobytes()
        if self._known is None or self._known[0] != stands:
            part = self.shaft / TURNS
            bent = self._law(np.where(self._sense > 0, part, 1.0 - part))
            self._known = stands, self._low + self.span * bent
        return self._known[1]

    def set_value(self, value: Floats) -> None:
        """Put the sliders where they give ``value`` (bisection; the law rises steadily)."""
        low, high = np.zeros(len(value)), np.ones(len(value))
        for _ in range(60):
            middle = (low + high) / 2.0
            under = self._low + self.span * self._law(middle) < value
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        self.shaft = TURNS * np.where(self._sense > 0, low, 1.0 - low)
        self.hand = self.shaft.copy()

    def turn(self, row: int, turns: float) -> None:
        """Move the tool; the slider follows once the play is taken up, and stops at the ends."""
        play = self._backlash[row] / 2.0
        hand = self.hand[row] + turns
        shaft = min(max(self.shaft[row], hand - play), hand + play)
        self.shaft[row] = min(max(shaft, 0.0), TURNS)
        self.hand[row] = min(max(hand, self.shaft[row] - play), self.shaft[row] + play)


class Hand:
    """Does one turn after the other while time passes."""

    def __init__(self, trimmers: dict[str, Trimmer], seconds_per_turn: float) -> None:
        self._trimmers = trimmers
        self._seconds_per_turn = seconds_per_turn
        self._jobs: deque[tuple[str, int, float]] = deque()

    @property
    def busy(self) -> bool:
        """Whether a turn is under way or waiting."""
        return bool(self._jobs)

    def give(self, kind: str, row: int, turns: float) -> float:
        """Queue a turn and return the seconds that it takes by itself."""
        if turns:
            self._jobs.append((kind, row, turns))
        return abs(turns) * self._seconds_per_turn

    def advance(self, seconds: float) -> None:
        """Turn for ``seconds``."""
        room = seconds / self._seconds_per_turn
        while self._jobs and room > 0.0:
            kind, row, left = self._jobs.popleft()
            step = np.sign(left) * min(abs(left), room)
            self._trimmers[kind].turn(row, float(step))
            room -= abs(step)
            if abs(left) - abs(step) > 1e-12:
                self._jobs.appendleft((kind, row, float(left - step)))
