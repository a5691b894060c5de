"""Bias: the peak from short and long waves together, and how far past it a track stands."""

import numpy as np

from fluxbench.lineup._adjust import AIM
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._peak import Peak, Picture, bends, find_peak, smoothed
from fluxbench.lineup._view import Advice, Verdict, move_db

BENT = (
    "short and long waves do not agree about bias on this stock, so that the side of the peak"
    " is not known; set it as the stock's maker says"
)
BEYOND_DB = 0.7
"""How far short waves must have fallen on both sides before a peak is believed."""


def bias(bench: Bench) -> Procedure:
    """Set bias on every live track: across the peak, then down to the sheet's over-bias."""
    yield from bench.step("set bias", _bias(bench))


def _bias(bench: Bench) -> Procedure:
    plan = bench.plan
    band, drop_db = plan.tolerances.over_bias, plan.over_bias_db
    peaks: dict[int, Peak] = dict(bench.steps.parts("peak"))
    due = [int(t) for t in np.flatnonzero(bench.live) if t not in peaks]
    found = yield from bench.levels(2.0)
    if not bench.steps.parts("as found"):
        bench.write("as found", trimmer="bias", reading_db=found[0], companion_db=found[1])
        bench.steps.keep_part("as found", found)
    off: dict[int, float] = {}
    for again in range(3):
        total, by = len(due), "bench"
        while due:
            track = due.pop(0)
            bench.write("focus", trimmer="bias", track=track + 1, by=by)
            trace = Trace(bench, track, peaks.get(track))
            yield from _set_track(bench, trace, total - 1 - len(due), total)
            by = "bench"
            if trace.taken_db is not None and trace.peak is not None:
                peaks[track] = trace.peak
                bench.steps.keep_part("peak", (track, trace.peak))
            elif bench.wanted is not None:
                due.insert(0, track)
            if bench.wanted is not None:
                due = [bench.wanted, *(t for t in due if t != bench.wanted)]
                by, bench.wanted = "person", None
        bench.advise(None)
        level = yield from bench.levels(4.0)
        off = {t: drop_db - (p.level_db - level[0, t]) for t, p in peaks.items()}
        due = [t for t in peaks if abs(off[t]) > band.set_db and again < 2]
        if not due:
            break
    for t in (t for t in off if abs(off[t]) > band.set_db):
        bench.note(f"bias of track {t + 1} is not in: {off[t]:+.2f} dB of over-bias are left")
    everyone = range(plan.tracks)
    bench.write(
        "as left",
        trimmer="bias",
        over_bias_db=[drop_db - off[t] if t in off else None for t in everyone],
        peak_db=[peaks[t].level_db if t in peaks else None for t in everyone],
        peak_error_db=[peaks[t].error_db if t in peaks else None for t in everyone],
    )


def _set_track(bench: Bench, trace: "Trace", done: int, due: int) -> Procedure:
    """Follow one track until it is in, has failed, or the person wants another one."""
    track = trace.track
    while not bench.passed_over("bias", track + 1):
        if bench.wanted == track or (bench.wanted is not None and not bench.live[bench.wanted]):
            bench.wanted = None
        if bench.wanted is not None:
            return
        point = yield from bench.point()
        bench.pictures[track] = trace.picture
        advice = trace.add(float(point.level_db[0, track]), float(point.level_db[1, track]))
        if trace.failed:
            bench.note(f"bias of track {track + 1} is not set: {trace.failed}")
            return
        if trace.taken_db is not None and trace.peak is not None:
            bench.write(
                "taken",
                trimmer="bias",
                track=track + 1,
                over_bias_db=trace.taken_db,
                peak_db=trace.peak.level_db,
                error_db=trace.peak.error_db,
            )
            return
        if advice is not None:
            bench.advise(advice, done, due)
    bench.note(f"bias of track {track + 1} is not set: it was passed over")


class Trace:
    """The way of one track's bias, point by point, and what to do next.

    First it sees which way D goes ("start"), then has bias lowered until the peak is passed
    ("lower"), raised across it ("raise"), and set to the sheet's fall from it ("set").
    """

    WINDOW = 35

    def __init__(self, bench: Bench, track: int, peak: Peak | None) -> None:
        self._bench = bench
        self.track = track
        self.peak = peak
        self._lag_s = bench.return_lag_s + 0.2
        self._short: list[float] = []
        self._differ: list[float] = []
        self._phase = "start" if peak is None else "set"
        self._asked: list[tuple[int, int]] = []
        self._quiet_from = 0
        self.failed = ""
        self.taken_db: float | None = None

    def add(self, short_db: float, long_db: float) -> Advice | None:
        """Take one point; advice, or None if there is nothing new to say."""
        if not (np.isfinite(short_db) and np.isfinite(long_db)):
            return None
        self._short.append(short_db)
        self._differ.append(short_db - long_db)
        if len(self._short) < 8:
            return self._seek(0, "wait")
        if self._phase == "start":
            return self._start()
        if self._phase == "lower":
            return self._lower()
        if self._phase == "raise":
            return self._raise()
        return self._set()

    @property
    def picture(self) -> Picture:
        """The whole of what is known of this track's bias."""
        short, differ = np.array(self._short), np.array(self._differ)
        phase = "failed" if self.failed else "taken" if self.taken_db is not None else self._phase
        return Picture(self.track + 1, phase, differ, short, self.peak)

    @property
    def _moved_db(self) -> float:
        return -float(np.mean(self._differ[-3:]) - np.mean(self._differ[:6]))

    def _ask(self, way: int) -> None:
        self._asked.append((len(self._short), way))

    def _start(self) -> Advice:
        if abs(self._moved_db) > 0.6:
            self._phase = "lower"
            self._ask(-1)
        return self._seek(-1, "turn a little, down")

    def _lower(self) -> Advice:
        s, d = smoothed(np.array(self._short), 7), smoothed(np.array(self._differ), 7)
        top = int(np.argmax(s[3:-3])) + 3
        gone = s[top] - s[-4]
        if bends(np.array(self._differ), self._asked):
            self.failed = BENT
        if gone > BEYOND_DB and d[-4] > d[top] + 0.3:
            self._phase = "raise"
            self._ask(1)
            return self._seek(1, "raise bias past the peak")
        return self._seek(-1, "lower bias until past the peak")

    def _raise(self) -> Advice | None:
        short, differ = np.array(self._short), np.array(self._differ)
        drop_db = self._bench.plan.over_bias_db
        now = float(smoothed(short, 7)[-2])
        if bends(differ, self._asked):
            self.failed = BENT
        found = find_peak(short, differ)
        beyond = found is not None and smoothed(differ, 7)[-2] < found.difference_db
        if found is not None and beyond and found.level_db - now > max(0.5, drop_db - 0.5):
            self._phase, self.peak, self._quiet_from = "set", found, len(short)
            return None
        return self._seek(1, "raise bias past the peak")

    def _set(self) -> Advice | None:
        band, drop_db, peak = (
            self._bench.plan.tolerances.over_bias,
            self._bench.plan.over_bias_db,
            self.peak,
        )
        assert peak is not None  # noqa: S101 - the phase says so
        n = len(self._short)
        self._quiet_from = _moved_since(self._short, self._quiet_from, self.WINDOW)
        if n - self._quiet_from < 4:
            return None
        if n % 10 == 0:
            self.peak = peak = find_peak(np.array(self._short), np.array(self._differ)) or peak
        first = max(self._quiet_from, n - self.WINDOW)
        fall = peak.level_db - float(np.mean(self._short[first:]))
        under = float(np.mean(self._differ[first:])) > peak.difference_db
        over_bias = -max(fall, 0.0) if under else fall
        off = drop_db - over_bias
        way, word = move_db(off, AIM * band.hold_db)
        if way == 0 and n - self._quiet_from >= self.WINDOW:
            self.taken_db = over_bias
        side = "wrong side, too little bias: " if under else ""
        return Advice(
            "bias",
            self.track + 1,
            Verdict.of(off, band.set_db),
            way,
            off,
            "dB",
            peak.error_db,
            self._lag_s + self.WINDOW / 10,
            f"bias {self.track + 1}: {side}{word}",
            self._moved_db,
        )

    def _seek(self, way: int, words: str) -> Advice:
        words = f"bias {self.track + 1}: {words}"
        moved = self._moved_db if len(self._differ) >= 8 else 0.0
        return Advice(
            "bias", self.track + 1, Verdict.OUT, way, None, "dB", np.inf, self._lag_s, words, moved
        )


def _moved_since(short: list[float], since: int, window: int) -> int:
    """The point at which the last movement ended."""
    n = len(short)
    first = max(since, n - window)
    if n - first < 9:
        return since
    old, new = np.array(short[first : n - 3]), np.array(short[n - 3 :])
    limit = max(0.15, 2.5 * float(np.std(old)))
    away = new - old.mean()
    return n - 3 if (away > limit).all() or (away < -limit).all() else since
