"""The technician without a bench: the same hands, a skilled eye, one needle at a time."""

from collections.abc import Generator

import numpy as np

from fluxbench.lineup import Plan
from fluxbench.links import DeckControls
from fluxbench.measure import HOP_S
from fluxbench.rehearsal._experience import Experience
from fluxbench.rehearsal._needle_desk import GLANCE_S, MONITOR_STEP_DB, REST_S, Desk, Doing
from fluxbench.rehearsal._needle_meter import F64, FINEST_DB, read_needle, read_phase
from fluxbench.rehearsal._technician import (
    MOST_TURNS,
    OVERSHOOT,
    REACTION_S,
    TRIAL_TURNS,
    TURN_ERROR,
)

LOOK_S = 1.25
ALONG_S = 0.25
"""A needle on the way along all of them: 24 take 6 s, less than a spot tone lasts."""
PHASE_LOOK_S = 1.5
BADLY_HIGH_VU = 2.0
BADLY_LOW_VU = -6.0
MOST_MONITOR_DB = 20.0
MOST_TRIES = 14
NOTICED_DB = 0.3
"""Less than this an eye does not call a movement of the needle."""
TOUCH_TURNS = 0.2
"""From less than this nobody learns what a trimmer does."""

Seeing = Generator[None, None, float]


class Person(Desk):
    """Eyes and hands at a desk; tracks count from 0 here, None is a whole stack."""

    def __init__(self, deck: DeckControls, plan: Plan, seed: int) -> None:
        super().__init__(deck, plan)
        self._rng = np.random.default_rng([seed, 78])
        self._fresh_visit = True
        self._reach = Experience()

    # -- eyes --------------------------------------------------------------------------------

    def glance_db(self, track: int) -> float:
        """Where a moving needle stands by and large, dB re 0 VU; track from 0."""
        middle = max(float(np.mean([d[track] for d in self._seen])), 1e-4)
        return 20.0 * float(np.log10(middle)) - self._monitor_db

    def remember_db(self, top_db: float) -> float:
        """What he remembers of the highest place that a needle reached, dB re 0 VU."""
        deflection = 10.0 ** ((top_db + self._monitor_db) / 20.0)
        return read_needle(deflection, self._rng) - self._monitor_db

    def look(self, track: int) -> Seeing:
        """Read a track's needle, dB re 0 VU; NaN if it does not stand on the scale."""
        while True:
            seen: list[float] = []
            for _ in range(round(LOOK_S / HOP_S)):
                yield
                seen.append(float(self._seen[-1][track]))
            if self._whole:
                if (yield from self.suit_monitor(track)):
                    continue
                return read_needle(float(np.mean(seen)), self._rng) - self._monitor_db
            yield from self._whole_again()

    def glance_along(self) -> Generator[None, None, F64]:
        """A short look at one needle after another; where they stand, dB re 0 VU (tracks,)."""
        stands_db = np.full(self.plan.tracks, np.nan)
        for track in np.flatnonzero(self.live):
            yield from self.wait(ALONG_S)
            stands_db[track] = self.glance_db(int(track))
        return stands_db

    def look_at_phase(self) -> Seeing:
        """Read the phase between the outer tracks, degrees, positive: the first is ahead."""
        while True:
            cross = 0j
            for _ in range(round(PHASE_LOOK_S / HOP_S)):
                yield
                cross += self._cross
            if self._whole:
                return read_phase(cross, self._rng)
            yield from self._whole_again()

    @property
    def _whole(self) -> bool:
        return not self.gone and self._gone_s == 0.0

    def _whole_again(self) -> Doing:
        """The needles fell while he looked: wind back if that was the end of the section."""
        while self._gone_s > 0.0 and not self.gone:
            yield
        if self.gone:
            yield from self.cue()
        else:
            yield from self.wait(REST_S)

    def suit_monitor(self, track: int) -> Generator[None, None, bool]:
        """Turn the monitor a step down or up if a needle stands badly; gives whether he did."""
        stands_vu = self.glance_db(track) + self._monitor_db
        step = int(stands_vu < BADLY_LOW_VU) - int(stands_vu > BADLY_HIGH_VU)
        if (
            step == 0
            or abs(self._monitor_db + self._level_db + step * MONITOR_STEP_DB) > MOST_MONITOR_DB
        ):
            return False
        self._monitor_db += step * MONITOR_STEP_DB
        yield from self.wait(REACTION_S + REST_S + GLANCE_S)
        return True

    # -- hands -------------------------------------------------------------------------------

    def focus(self, trimmer: str, track: int | None) -> Doing:
        """Put the tool on a trimmer; track from 0, None for a stack."""
        self._fresh_visit = True
        self.write("focus", trimmer=trimmer, track=None if track is None else track + 1)
        monitor_db = self._monitor_db
        self._turn_up(self._level_db)
        yield from self.wait(REACTION_S + (REST_S if monitor_db != self._monitor_db else 0.0))

    def turn(self, trimmer: str, turns: float, track: int | None) -> float:
        """Begin to turn what the tool is on; gives the seconds that the hand needs."""
        if self._fresh_visit:
            self.visits[trimmer][track or 0] += 1
            self._fresh_visit = False
        return self.deck.turn(trimmer, turns, None if track is None else track + 1)

    def bring(
        self,
        trimmer: str,
        track: int,
        target_db: float,
        content_db: float,
        leave_db: float | None = None,
    ) -> Seeing:
        """Visit a trimmer; what stands within `leave_db` as found is left alone. See `trim`.

        The scale shows no hundredths: a target is written down to a tenth.
        """
        yield from self.focus(trimmer, track)
        reading_db = yield from self.look(track)
        leave_db = content_db if leave_db is None else leave_db
        if abs(round(target_db, 1) - reading_db) <= leave_db + 1e-9:
            return reading_db
        reach = self._reach.of(trimmer)
        return (yield from self.trim(trimmer, track, reading_db, target_db, content_db, reach))

    def trim(
        self,
        trimmer: str,
        track: int,
        reading_db: float,
        target_db: float,
        content_db: float,
        reach_db_per_turn: float | None,
    ) -> Seeing:
        """Turn until the needle reads its target within `content_db`; gives the last reading.

        What a turn does is learnt from his own turns; the clearest movement tells the sense. What
        lands in the outer half of a wide band gets one more nudge. NaN if nothing can be read.
        """
        reach, trial, nudged = reach_db_per_turn, TRIAL_TURNS, False
        surest_db = 0.0
        for _ in range(MOST_TRIES):
            off_db = round(target_db, 1) - reading_db
            if np.isnan(off_db):
                self.note(f"{trimmer} of track {track + 1}: the needle does not stand on the scale")
                return reading_db
            if abs(off_db) <= content_db + 1e-9:
                if nudged or abs(off_db) <= max(0.5 * content_db, FINEST_DB) + 1e-9:
                    return reading_db
                nudged = True
            turns = trial if reach is None else self.human_turns(off_db / reach)
            yield from self.wait(REACTION_S)
            yield from self.wait(self.turn(trimmer, turns, track))
            yield from self.wait(self.plan.head_delay_s + REST_S)
            before_db, reading_db = reading_db, (yield from self.look(track))
            moved_db = reading_db - before_db
            if abs(moved_db) >= NOTICED_DB and abs(turns) >= TOUCH_TURNS:
                seen = moved_db / turns
                if reach is None or reach * seen > 0.0 or abs(moved_db) > surest_db:
                    reach = learnt(reach, seen)
                    surest_db = max(surest_db, abs(moved_db))
                self._reach.learn(trimmer, track, reach)
            elif reach is None:
                trial = min(2.0 * trial, MOST_TURNS)
            elif abs(turns * reach) > 2.0 * NOTICED_DB:
                reach *= 0.7
        self.note(f"{trimmer} of track {track + 1} cannot be brought in: {off_db:+.1f} dB left")
        return reading_db

    def human_turns(self, turns: float) -> float:
        """What the hand makes of the turns that the head wants."""
        made = turns * OVERSHOOT * (1.0 + TURN_ERROR * float(self._rng.standard_normal()))
        return float(np.clip(np.copysign(max(abs(made), 0.01), turns), -MOST_TURNS, MOST_TURNS))


def learnt(known: float | None, seen: float) -> float:
    """What a turn does, after one more: half of the old where both point the same way."""
    if known is None or known * seen < 0.0:
        return seen
    size = float(np.clip(abs(seen), 0.4 * abs(known), 2.5 * abs(known)))
    return float(np.copysign(0.5 * (size + abs(known)), known))
