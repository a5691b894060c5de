"""Bias by the short wave alone, where short minus long waves does not tell the side of the peak.

The hand goes across the peak one way and back. What is asked for is S itself: the greatest level of
a crossing, by a curve over time (the peak is level, so that neither the speed of the hand nor the
delay of the tape moves it), from crossings both ways. The long wave is used for one thing only: at
equal fall of S the side of more bias has more of it (the recording zone grows with bias, so that
short waves lose first; common practice, no source). It must say so on every crossing, by far more
than its noise, or the peak is not taken. The sheet's fall is then come to from the side of more
bias, from beyond it.
"""

from dataclasses import dataclass

import numpy as np

from fluxbench.lineup._bench import F64
from fluxbench.lineup._peak import Peak, Picture, smoothed
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._standing import creeps, moved_since
from fluxbench.lineup._view import Advice, Verdict, move_db

AIM = 0.5
"""Bias is held within this part of its hold band: it is peak and reading that add up."""
FLANK_DB = 0.8
"""A crossing has risen and fallen by so much."""
REACH_DB = 1.0
"""The curve over time takes points within this fall of the top."""
TELLS_DB = 0.5
"""So much more long wave at equal fall says which side has more bias."""
BEYOND_DB = 0.8
"""How far beyond the sheet's fall a track is taken before it is come back to."""
BACK_DB = 0.5
"""Nearer to the peak than the sheet's fall by so much, the hand has gone too far back."""
UNDER_DB = 2.0
LONG_LOST_DB = 1.5
"""Where S and the long wave have fallen by this much, no more of the poor side is needed."""
AGREE_DB = 0.25
LEAST_POINTS = 12
ONLY_FELL_POINTS = 40
MOST_CROSSINGS = 6
MOST_LEGS = 9


@dataclass(frozen=True, slots=True)
class Crossing:
    """Once across the peak: its level, and which way bias went (+1 more)."""

    level_db: float
    error_db: float
    long_db: float
    """Long wave at the peak."""
    bias_way: int


class OneTone:
    """The way of one track's bias by S alone, point by point; used as `Trace` is."""

    WINDOW = 30

    def __init__(
        self, track: int, plan: Plan, lag_s: float, way: int = -1, peak: Peak | None = None
    ) -> None:
        self.track, self._lag_s, self._way = track, lag_s, way
        self._drop_db, self._band = plan.over_bias_db, plan.tolerances.over_bias
        self.peak = peak
        self._setting, self._returning = peak is not None, False
        self._short: list[float] = []
        self._long: list[float] = []
        self._noise_db: list[float] = []
        self._begin = self._legs = self._quiet_from = 0
        self._top_db = self._long_top_db = -np.inf
        self._moved_db = self._leg_from_db = 0.0
        self.crossings: list[Crossing] = []
        self.failed = ""
        self.taken_db: float | None = None

    def remember(self, short_db: list[float], long_db: list[float], moved_db: float) -> None:
        """Take over the leg that the hand is on, and how far it was said to have gone."""
        self._short, self._long = list(short_db), list(long_db)
        self._noise_db = [np.nan] * len(short_db)
        self._moved_db = self._leg_from_db = moved_db
        if len(short_db) >= LEAST_POINTS:
            self._leg_from_db -= self._way * gone_db(self._smooth(self._short))

    @property
    def picture(self) -> Picture:
        """The whole of what is known of this track's bias."""
        short, long = np.array(self._short), np.array(self._long)
        phase = "set" if self._setting else "raise" if self._way > 0 else "lower"
        phase = "failed" if self.failed else "taken" if self.taken_db is not None else phase
        noise_db = np.array(self._noise_db)
        return Picture(self.track + 1, phase, short - long, short, noise_db, self.peak)

    def add(self, level_db: F64, noise_db: float = np.nan) -> Advice | None:
        """Take one point of short waves and companion (2, tracks); advice if there is any."""
        short_db, long_db = (float(level) for level in level_db[:, self.track])
        if not (np.isfinite(short_db) and np.isfinite(long_db)):
            return None
        self._short.append(short_db)
        self._long.append(long_db)
        self._noise_db.append(noise_db)
        if self._setting:
            return self._set()
        if len(self._short) - self._begin < LEAST_POINTS:
            return self._seek()
        return self._cross()

    def _smooth(self, values: list[float]) -> F64:
        return smoothed(np.array(values[self._begin :]), 5)[2:-2]

    def _cross(self) -> Advice | None:
        short, long = self._smooth(self._short), self._smooth(self._long)
        self._top_db = max(self._top_db, float(short.max()))
        self._long_top_db = max(self._long_top_db, float(long.max()))
        self._moved_db = self._leg_from_db + self._way * gone_db(short)
        gone, lost = self._top_db - short[-1], self._long_top_db - long[-1]
        far = gone > self._drop_db + BEYOND_DB or (gone > UNDER_DB and lost > LONG_LOST_DB)
        if far and self._came_from_somewhere(short):
            return self._turn_back(short, long)
        return self._seek()

    def _came_from_somewhere(self, short: F64) -> bool:
        """Whether S falls on this leg for good: a hand that was turned back goes on for a while."""
        top = float(short.max())
        rose = top - short[0] > FLANK_DB or len(short) > ONLY_FELL_POINTS
        return bool(rose and top - short[-1] > FLANK_DB)

    def _turn_back(self, short: F64, long: F64) -> Advice | None:
        """A leg has ended: what it says of the peak, and where to go from here."""
        crossing = crossed(short, long)
        if crossing is not None:
            self.crossings.append(crossing)
            self.peak = agreed(self.crossings)
        self._legs += 1
        more = self._returning or (crossing is not None and crossing.bias_way > 0)
        self._returning = False
        if self.peak is not None and more:
            self._setting, self._quiet_from = True, len(self._short)
            return None
        if self._legs >= MOST_LEGS or len(self.crossings) >= MOST_CROSSINGS:
            self.failed = "the short wave alone gave no peak that was the same from both sides"
        self._begin, self._way = len(self._short), -self._way
        self._leg_from_db = self._moved_db
        return self._seek()

    def _set(self) -> Advice | None:
        peak, n = self.peak, len(self._short)
        assert peak is not None  # noqa: S101 - the phase says so
        self._quiet_from = moved_since(np.array(self._short), self._quiet_from, self.WINDOW)
        if n - self._quiet_from < 4:
            return None
        first = max(self._quiet_from, n - self.WINDOW)
        fall = peak.level_db - float(np.mean(self._short[first:]))
        long_db = float(np.mean(self._long[first:]))
        poor = long_db < peak.level_db - peak.difference_db - LONG_LOST_DB
        if poor or fall < self._drop_db - BACK_DB:
            return self._again(poor)
        off = self._drop_db - fall
        way, word = move_db(off, AIM * self._band.hold_db)
        stands = n - self._quiet_from >= self.WINDOW and not creeps(np.array(self._short[first:]))
        if way == 0 and stands:
            self.taken_db = fall
        words = f"bias {self.track + 1}, by the short wave alone: {word}"
        wait_s = self._lag_s + self.WINDOW / 10
        verdict = Verdict.of(off, self._band.set_db)
        return Advice("bias", self.track + 1, verdict, way, off, "dB", peak.error_db, wait_s,
                      words, self._moved_db)  # fmt: skip

    def _again(self, poor: bool) -> Advice:
        """Go towards more bias once more: too near the peak, or on its poor side."""
        self._setting, self._returning = False, not poor
        self._begin = len(self._short)
        self._leg_from_db = self._moved_db
        return self._seek()

    def _seek(self) -> Advice:
        word = "raise" if self._way > 0 else "lower"
        words = f"bias {self.track + 1}, by the short wave alone: {word}, across the peak"
        return Advice("bias", self.track + 1, Verdict.OUT, self._way, None, "dB", np.inf,
                      self._lag_s, words, self._moved_db)  # fmt: skip


def gone_db(short_db: F64) -> float:
    """How far S has gone on a leg, up to its top and down from it."""
    return float(2.0 * short_db.max() - short_db[0] - short_db[-1])


def crossed(short_db: F64, long_db: F64) -> Crossing | None:
    """What one steady leg (points,), 0.1 s apart, says of the peak; None if it did not cross it."""
    top = int(np.argmax(short_db))
    level = float(short_db[top])
    if level - short_db[: top + 1].min() < FLANK_DB or level - short_db[top:].min() < FLANK_DB:
        return None
    fallen = short_db < level - FLANK_DB
    before = int(np.flatnonzero(fallen[:top])[-1])
    after = top + int(np.flatnonzero(fallen[top:])[0])
    more = float(long_db[after] - long_db[before])
    if abs(more) < TELLS_DB:
        return None
    near = short_db > level - REACH_DB
    low = top - int(np.argmin(near[top::-1])) + 1 if not near[: top + 1].all() else 0
    high = top + int(np.argmin(near[top:])) if not near[top:].all() else len(near)
    if high - low < 10:
        return None
    t = np.linspace(-1.0, 1.0, high - low)
    curve = np.polynomial.polynomial.polyfit(t, short_db[low:high], 3)
    fitted = np.polynomial.polynomial.polyval(np.linspace(-1.0, 1.0, 201), curve)
    spread = float(np.std(short_db[low:high] - np.polynomial.polynomial.polyval(t, curve)))
    error = spread / np.sqrt(max(1.0, (high - low) / 8.0))
    return Crossing(float(fitted.max()), error, float(long_db[top]), 1 if more > 0 else -1)


def agreed(crossings: list[Crossing]) -> Peak | None:
    """The peak of crossings both ways that agree; None if there are none."""
    ways = {way: [c for c in crossings if c.bias_way == way] for way in (1, -1)}
    if not (ways[1] and ways[-1]):
        return None
    up, down = (float(np.mean([c.level_db for c in ways[way]])) for way in (1, -1))
    if abs(up - down) > AGREE_DB:
        return None
    level = float(np.mean([c.level_db for c in crossings]))
    count = np.sqrt(len(crossings))
    each = float(np.sqrt(np.mean([c.error_db**2 for c in crossings])))
    error = max(each, float(np.std([c.level_db for c in crossings]))) / count
    return Peak(level, error, level - float(np.mean([c.long_db for c in crossings])))
