"""The way of one track's bias by short and long waves together, point by point."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench
from fluxbench.lineup._neighbours import Neighbours
from fluxbench.lineup._one_tone import AIM, OneTone
from fluxbench.lineup._peak import (
    Fall,
    Peak,
    Picture,
    bends,
    find_peak,
    fitted_fall,
    smoothed,
)
from fluxbench.lineup._places import HAND_S, Places
from fluxbench.lineup._standing import creeps, has_jumped, moved_since
from fluxbench.lineup._view import Advice, Verdict, move_db, wait_ratio

BEFORE = 8
"""Points from before the hand came that show where bias stood."""
SEEK_S = 75.0
"""A peak that both waves together have not shown by then is sought by the short wave alone."""
BENT = "short and long waves do not agree about bias"
UNSEEN = "short and long waves together show no peak of bias"
START_POINTS = 100
"""If bias has not moved for so long, the trimmer may stand at its end: the other way then."""
SLOPE_POINTS = 8
FARTHEST_DB = 4.0
PAST_DB = 0.7
"""So far past the peak, in D, short waves have fallen enough to be believed."""
NEAR_DB = 0.6
"""So near the sheet's fall the hand is told how far it is in decibels of over-bias."""
BEYOND_DB = 0.33
"""How far short waves must have fallen on both sides before a peak is believed."""


class Trace:
    """The way of one track's bias, point by point, and what to do next.

    First it sees which way D goes ("start"), then has bias lowered until the peak is passed
    ("lower"), raised across it ("raise"), and set to the sheet's fall from it ("set").
    """

    WINDOW = 12

    def __init__(
        self,
        bench: Bench,
        track: int,
        peak: Peak | None,
        neighbours: Neighbours,
        fall: Fall | None = None,
    ) -> None:
        self._bench, self.track, self.peak = bench, track, peak
        self.fall = fall
        """How short waves fall beyond the peak, as on the tracks before or, later, on this one."""
        self._neighbours = neighbours
        self._lag_s = bench.shown_lag_s
        self._rows: list[F64] = []
        self._differ: list[float] = []
        self._noise_db: list[float] = []
        self._seen = (np.zeros(0), np.zeros(0))
        self._phase = "start" if peak is None else "set"
        self._asked: list[tuple[int, int]] = []
        self._quiet_from = 0
        self._places, self._held_points = Places(), 0
        self._told_to_stay = 0
        self.on_step = ""
        """What is to be said if it was taken on the nearest of the steps of its trimmer."""
        self.failed = ""
        self.taken_db: float | None = None

    def take(self, level_db: F64, noise_db: float = np.nan) -> bool:
        """Take one point of short waves and companion (2, tracks); whether it is valid."""
        differ = float(level_db[0, self.track] - level_db[1, self.track])
        if not np.isfinite(differ):
            return False
        self._rows.append(level_db[0])
        self._differ.append(differ)
        self._noise_db.append(noise_db)
        return True

    def add(self, level_db: F64, noise_db: float = np.nan) -> Advice | None:
        """Take one point (2, tracks); advice, or None if there is nothing new to say."""
        if not self.take(level_db, noise_db):
            return None
        if len(self._rows) < BEFORE:
            return self._seek(0, "wait")
        self._seen = self._apart()
        if self._phase == "start":
            return self._start()
        if self._phase == "lower":
            return self._lower(*self._seen)
        if self._phase == "raise":
            return self._raise(*self._seen)
        return self._set(*self._seen)

    def _apart(self) -> tuple[F64, F64]:
        """S and D of the track (points,) without what it does together with its neighbours.

        A neighbour's bias leaks in a little as this one is turned: what a neighbour does in step
        with D is not contact and is left alone.
        """
        rows, differ = np.array(self._rows), np.array(self._differ)
        share = self._neighbours.share[self.track]
        beside = np.flatnonzero(share)
        if not len(beside):
            return rows[:, self.track], differ
        others = rows[:, beside]
        if not np.isfinite(others).all():
            others = np.where(np.isfinite(others), others, np.nanmedian(others, axis=0))
        model = np.stack([np.ones(len(differ)), smoothed(differ, 7)], axis=1)
        left = others - model @ np.linalg.lstsq(model, others, rcond=None)[0]
        contact_db = np.clip(left, -Neighbours.MOST_DB, Neighbours.MOST_DB) @ share[beside]
        return rows[:, self.track] - contact_db, differ - contact_db

    @property
    def untrue(self) -> str:
        """Why both waves together are not to be followed any longer, if so."""
        if not self.failed and self._phase != "set" and len(self._rows) > 10 * SEEK_S:
            return UNSEEN
        return self.failed

    def alone(self) -> OneTone:
        """Go on from here by the short wave alone."""
        since, way = self._asked[-1] if self._asked else (len(self._rows), -1)
        one = OneTone(self.track, self._bench.plan, self._lag_s, way)
        short = [float(row[self.track]) for row in self._rows[since:]]
        long = [s - d for s, d in zip(short, self._differ[since:], strict=True)]
        one.remember(short, long, self._moved_db)
        return one

    @property
    def picture(self) -> Picture:
        """The whole of what is known of this track's bias."""
        short, differ = self._seen
        phase = "failed" if self.failed else "taken" if self.taken_db is not None else self._phase
        noise_db = np.array(self._noise_db[: len(short)])
        return Picture(self.track + 1, phase, differ, short, noise_db, self.peak)

    @property
    def _moved_db(self) -> float:
        return -float(np.mean(self._differ[-3:]) - np.mean(self._differ[:BEFORE]))

    def _ask(self, way: int) -> None:
        self._asked.append((len(self._rows), way))

    def _start(self) -> Advice:
        if abs(self._moved_db) > 0.6:
            self._phase = "lower"
            self._ask(-1)
        if len(self._rows) // START_POINTS % 2:
            return self._seek(1, "turn a little, up")
        return self._seek(-1, "turn a little, down")

    def _lower(self, short: F64, differ: F64) -> Advice:
        s, d = smoothed(short, 7), smoothed(differ, 7)
        top = int(np.argmax(s[3:-3])) + 3
        gone = s[top] - s[-4]
        if bends(differ, self._asked):
            self.failed = BENT
        if gone > BEYOND_DB and d[-4] > d[top] + 0.3:
            self._phase = "raise"
            self._ask(1)
            return self._seek(1, "raise bias past the peak")
        return self._seek(-1, "lower bias until past the peak", self._to_go_down_db(short, differ))

    def _to_go_down_db(self, short: F64, differ: F64) -> float | None:
        """About how far it is past the peak: the steeper short waves still rise, the farther."""
        s, d = short[-SLOPE_POINTS:], differ[-SLOPE_POINTS:]
        if self.fall is None or len(d) < SLOPE_POINTS or np.ptp(smoothed(d, 5)) < 0.3:
            return None
        slope = float(np.polyfit(d, s, 1)[0])
        return self.fall.distance_of_slope(max(slope, 0.0), FARTHEST_DB) + PAST_DB

    def _raise(self, short: F64, differ: F64) -> Advice | None:
        drop_db = self._bench.plan.over_bias_db
        now = float(smoothed(short, 7)[-2])
        if bends(differ, self._asked):
            self.failed = BENT
        found = find_peak(short, differ)
        here = float(smoothed(differ, 7)[-2])
        beyond = found is not None and here < found.difference_db
        to_go_db = None
        if found is not None:
            self.fall = fitted_fall(short, differ, found) or self.fall
            if self.fall is not None:
                to_go_db = here - found.difference_db + self.fall.distance_db(drop_db)
        near = min(0.8, 0.5 * drop_db) if to_go_db is None else drop_db - NEAR_DB
        if found is not None and beyond and found.level_db - now > near:
            self._phase, self.peak, self._quiet_from = "set", found, len(short)
            return self._seek(0, "hold, to be read")
        return self._seek(1, "raise bias past the peak", to_go_db)

    def _set(self, short: F64, differ: F64) -> Advice | None:
        band, drop_db, peak = (
            self._bench.plan.tolerances.over_bias,
            self._bench.plan.over_bias_db,
            self.peak,
        )
        assert peak is not None  # noqa: S101 - the phase says so
        n = len(short)
        self._quiet_from = moved_since(short, self._quiet_from, self.WINDOW)
        if n - self._quiet_from < 4:
            return None
        if n % 10 == 0:
            self.peak = peak = find_peak(short, differ) or peak
        first = max(self._quiet_from, n - self.WINDOW)
        fall = peak.level_db - float(np.mean(short[first:]))
        under = float(np.mean(differ[first:])) > peak.difference_db
        over_bias = -max(fall, 0.0) if under else fall
        off = drop_db - over_bias
        way, word = move_db(off, AIM * band.hold_db)
        self._told_to_stay = self._told_to_stay + 1 if way == 0 else 0
        stands = n - self._quiet_from >= self.WINDOW and not creeps(short[first:])
        stands = stands and not has_jumped(short[first:], band.hold_db)
        if not stands:
            self._held_points = 0
            self._places.leave()
        else:
            self._places.see(off)
            if way == 0:
                self._held_points += 1
                sure = self._is_held or not self._places.many
                if sure and self._told_to_stay > 10.0 * self._lag_s:  # an older turn would show
                    self.taken_db = over_bias
            elif self._on_nearest_step(off):
                way, word = 0, "hold, it is the nearest step"
        side = "wrong side, too little bias: " if under else ""
        needed = max(0.3, wait_ratio(off, band.hold_db))
        return Advice(
            "bias",
            self.track + 1,
            Verdict.of(off, band.set_db),
            way,
            off,
            "dB",
            peak.error_db,
            self._lag_s + needed * self.WINDOW / 10,
            f"bias {self.track + 1}: {side}{word}",
            self._moved_db,
        )

    @property
    def _is_held(self) -> bool:
        """A hand that is told to stay may still be about to turn, and a step goes far."""
        return self._held_points > 10.0 * (self._lag_s + HAND_S)

    def _on_nearest_step(self, off_db: float) -> bool:
        """Whether it moves in steps and stands on the nearest one, which is taken in time."""
        hold_db = self._bench.plan.tolerances.over_bias.hold_db
        nearest = self._places.nearest(off_db, 2.0 * AIM * hold_db)
        self._held_points = self._held_points + 1 if nearest else 0
        if self._is_held:
            self.taken_db = self._bench.plan.over_bias_db - off_db
            self.on_step = (
                f"moves in steps of about {self._places.step_db:.2f} dB of over-bias: the nearest"
                f" is taken, {off_db:+.2f} dB are left"
            )
        return nearest

    def _seek(self, way: int, words: str, to_go_db: float | None = None) -> Advice:
        words = f"bias {self.track + 1}: {words}"
        moved = self._moved_db if len(self._differ) >= BEFORE else 0.0
        return Advice(
            "bias", self.track + 1, Verdict.OUT, way, None, "dB", np.inf, self._lag_s, words, moved,
            to_go_db,
        )  # fmt: skip
