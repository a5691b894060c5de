"""Azimuth of a head of one live track, by the greatest level of a short wave.

The top itself is too flat to be seen, so the hand goes through it and marks where the screw stands
at about the same loss on either side: the loss is even in the angle (sinc of width times tangent
over wavelength), so the head is upright halfway between the marks. The peak that was passed tells
at last whether it is. The hand only turns; the bench sees from the level where it is.
"""

from dataclasses import dataclass

import numpy as np

from fluxbench.lineup._bench import F64
from fluxbench.lineup._places import HAND_S
from fluxbench.lineup._view import Advice, Verdict
from fluxbench.trade import RADIANS_PER_ARCMIN, azimuth_loss_db

FALL_DB = 1.0
"""So far the level is let fall on either side."""
SMOOTH, MARK, TOP = 7, 20, 40
"""Points: of a running median, of a mark that is read, of the top that is read."""
MOVING_DB = 0.35
"""Halves of a mark that differ by more were read while the hand still turned."""
UNEVEN = 2.5
"""Marks whose losses differ by more than this times are not used as a pair."""
LEFT_DB = 0.15
"""So far below the peak, beyond what noise makes of it, all is done once more."""
SURE = 3.0
"""Times the error."""
HALVING = 0.05
"""The eye finds a part of the way between two marks so well, as a part of it (from memory)."""
LEAST_ERROR_DB = 0.03
LEAST_POINTS, PASSED_ERROR_DB = 10, 0.3
"""Around a top; fewer tell it only so well."""
DROP_DB = 1.0
"""A point so far off its neighbours is no part of the curve."""
MOST_STROKES, MOST_TRIES = 12, 3
MOST_STROKE_POINTS = 1200


@dataclass(frozen=True, slots=True)
class Mark:
    """A place of the screw where the level has fallen: its level, and which way it was come to."""

    level_db: float
    error_db: float
    way: int


@dataclass(frozen=True, slots=True)
class Peak:
    """The greatest level that was passed."""

    level_db: float
    error_db: float


@dataclass(frozen=True, slots=True)
class Found:
    """The head as left: how far its level lies below the peak, and how well it stands upright."""

    peak: Peak
    below_db: float
    below_error_db: float
    error_arcmin: float


class Upright:
    """The way of the screw, point by point of 0.1 s."""

    def __init__(self, trimmer: str, width_mm: float, length_um: float, lag_s: float) -> None:
        self._trimmer, self._name, self._lag_s = trimmer, trimmer.replace("_", " "), lag_s
        null = np.arctan(length_um / (1000.0 * width_mm)) / RADIANS_PER_ARCMIN
        self._angles = np.linspace(0.0, 0.9 * null, 1000)
        self._loss_db: F64 = azimuth_loss_db(self._angles, width_mm, length_um)
        self._way, self._phase = 1, "sweep"
        self._points: list[float] = []
        self._begin = self._strokes = self._tries = 0
        self._marks: list[Mark] = []
        self._peak: Peak | None = None
        self._back_ratio, self._off_arcmin, self._from_db = 0.5, 0.0, 0.0
        self._error_arcmin = np.inf
        self.found: Found | None = None
        self.failed = ""

    def angle_arcmin(self, loss_db: float) -> float:
        """How far off the head stands that loses so much."""
        return float(np.interp(loss_db, self._loss_db, self._angles))

    def add(self, level_db: float) -> Advice | None:
        """Take the level of the short wave; advice if there is any."""
        if np.isfinite(level_db):
            self._points.append(level_db)
        if len(self._points) - self._begin < SMOOTH:
            return None
        return {
            "sweep": self._sweep, "mark": self._mark, "back": self._back, "top": self._top,
        }[self._phase]()  # fmt: skip

    def _enter(self, phase: str, way: int = 0) -> None:
        self._phase, self._way, self._begin = phase, way or self._way, len(self._points)

    def _smooth(self) -> F64:
        stroke = np.array(self._points[self._begin :])
        windows = np.lib.stride_tricks.sliding_window_view(stroke, SMOOTH)
        return np.asarray(np.median(windows, axis=1))

    def _sweep(self) -> Advice | None:
        smooth = self._smooth()
        high, now = float(smooth.max()), float(smooth[-1])
        if high - now >= FALL_DB:
            self._keep_top(smooth)
            self._enter("mark")
            return self._hold("hold, and mark where the screw stands")
        if len(smooth) > MOST_STROKE_POINTS:
            self.failed = "the level does not fall; is the screw at its end?"
        word = "turn one way" if self._way > 0 else "turn the other way"
        if self._strokes == self._tries == 0:  # the level tells no side: only a mark leads back
            word = f"mark where the screw stands, then {word}"
        fallen = high - now > 0.3 * FALL_DB
        words = f"{self._name}: {word}, until the level has fallen by {FALL_DB:g} dB from its top"
        return Advice(
            self._trimmer, None, Verdict.OUT, self._way, None, "arcmin", np.inf,
            self._lag_s, words, self._way * float(np.ptp(smooth)),
            FALL_DB - (high - now) if fallen else None,
        )  # fmt: skip

    def _keep_top(self, smooth: F64) -> None:
        top = int(np.argmax(smooth))
        if smooth[top] - smooth[0] < 0.5 * FALL_DB:  # it was not passed: this began at it
            return
        near = smooth > smooth[top] - 0.6 * FALL_DB
        first = top - int(np.argmin(near[top::-1])) + 1
        last = top + int(np.argmin(near[top:]))
        middle = SMOOTH // 2
        raw = np.array(self._points[self._begin + middle :])[first:last]
        self._peak = top_over_time(raw[np.abs(raw - smooth[first:last]) < DROP_DB])

    def _hold(self, word: str) -> Advice:
        return Advice(
            self._trimmer, None, Verdict.OUT, 0, None, "arcmin", np.inf, self._lag_s,
            f"{self._name}: {word}",
        )  # fmt: skip

    def _steady(self, count: int) -> F64 | None:
        """The latest points since the hand had time to stop, if it has."""
        first = self._begin + round(10 * (self._lag_s + HAND_S))
        points = np.array(self._points[max(first, len(self._points) - count) :])
        if len(points) < count:
            return None
        halves = points[: count // 2].mean(), points[count // 2 :].mean()
        return points if abs(halves[1] - halves[0]) <= MOVING_DB else None

    def _mark(self) -> Advice | None:
        points = self._steady(MARK)
        if points is None:
            return self._hold("hold, and mark where the screw stands")
        self._marks.append(Mark(*_mean(points), self._way))
        self._strokes += 1
        if self._strokes > MOST_STROKES:
            self.failed = "the level does not fall on both sides; is the screw at its end?"
        first, last = self._marks[-2:] if len(self._marks) > 1 else (None, self._marks[0])
        if first is not None and self._peak is not None and first.way != last.way:
            one, other = (self._peak.level_db - mark.level_db for mark in (first, last))
            crossed = min(one, other) > 0.5 * FALL_DB
            if crossed and max(one, other) < UNEVEN * min(one, other):
                return self._halfway(one, other, first, last)
        self._enter("sweep", -self._way)
        return None

    def _halfway(self, one_db: float, other_db: float, first: Mark, last: Mark) -> Advice:
        one, other = self.angle_arcmin(one_db), self.angle_arcmin(other_db)
        marks = (first.error_db / self._slope(one), last.error_db / self._slope(other))
        middle_arcmin = np.hypot(marks[0], marks[1]) / 2.0
        self._error_arcmin = float(np.hypot(middle_arcmin, HALVING * other))
        self._back_ratio, self._off_arcmin, self._from_db = other / (one + other), other, other_db
        self._enter("back", -self._way)
        return self._go_back()

    def _slope(self, angle_arcmin: float) -> float:
        """Loss in dB an arc-minute."""
        slopes: F64 = np.gradient(self._loss_db, self._angles)
        return float(np.interp(angle_arcmin, self._angles, slopes))

    def _go_back(self) -> Advice:
        words = f"{self._name}: turn back to halfway between the two marks"
        if abs(self._back_ratio - 0.5) > 0.03:
            words = f"{self._name}: turn back {100 * self._back_ratio:.0f} % of the way to the mark"
            words += " before"
        return Advice(
            self._trimmer, None, Verdict.OUT, self._way, self._way * self._off_arcmin,
            "arcmin", self._error_arcmin, self._lag_s + HAND_S + SMOOTH / 10, words,
            back_ratio=self._back_ratio,
        )  # fmt: skip

    def _back(self) -> Advice | None:
        smooth = self._smooth()
        if smooth[-1] >= self._marks[-1].level_db + 0.6 * self._from_db:
            self._enter("top")
            return self._hold("hold")
        if len(smooth) > MOST_STROKE_POINTS:
            self.failed = "the screw was not turned back"
        return self._go_back()

    def _top(self) -> Advice | None:
        points = self._steady(TOP)
        if points is None or self._peak is None:
            return self._hold("hold")
        level_db, error_db = _mean(points)
        below_db, error_db = self._peak.level_db - level_db, np.hypot(error_db, self._peak.error_db)
        self._tries += 1
        if below_db > LEFT_DB + SURE * error_db and self._tries < MOST_TRIES:
            self._marks.clear()
            self._enter("sweep", -self._way)
            return None
        within = self.angle_arcmin(max(below_db, 0.0))
        error_arcmin = max(self._error_arcmin, within if below_db > SURE * error_db else 0.0)
        self.found = Found(self._peak, below_db, float(error_db), error_arcmin)
        return self._hold("hold")


def top_over_time(level_db: F64) -> Peak:
    """Greatest of levels (points,) around a top, by a curve over time: there it is level.

    The error is that of a cubic in its middle, 1.5 standard deviations over the root of the
    points, and more where neighbouring points err together. The greatest one if they are too few.
    """
    if len(level_db) < LEAST_POINTS:
        return Peak(float(level_db.max()), PASSED_ERROR_DB)
    t = np.linspace(-1.0, 1.0, len(level_db))
    curve = np.polynomial.polynomial.polyfit(t, level_db, 3)
    fine = np.polynomial.polynomial.polyval(np.linspace(-0.7, 0.7, 101), curve)
    rest = level_db - np.polynomial.polynomial.polyval(t, curve)
    spread = np.sqrt(np.sum(rest**2) / (len(rest) - 4))
    together = float(np.clip(np.mean(rest[1:] * rest[:-1]) / np.mean(rest**2), 0.0, 0.8))
    longer = np.sqrt((1.0 + together) / (1.0 - together))
    error = 1.5 * spread * longer / np.sqrt(len(rest))
    return Peak(float(fine.max()), max(float(error), LEAST_ERROR_DB))


def _mean(points: F64) -> tuple[float, float]:
    """Mean of points (points,) and its error, from blocks of half a second."""
    blocks = points[: len(points) // 5 * 5].reshape(-1, 5).mean(axis=1)
    error = float(blocks.std(ddof=1) / np.sqrt(len(blocks)))
    return float(points.mean()), max(error, LEAST_ERROR_DB)
