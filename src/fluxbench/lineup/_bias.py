"""Bias: the peak from short and long waves together, and how far past it a track stands."""

import numpy as np

from fluxbench.lineup._adjust import AIM
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._one_tone import OneTone
from fluxbench.lineup._peak import Peak, bends, find_peak, moved_since, smoothed
from fluxbench.lineup._view import Advice, Verdict, move_db

PATIENCE_S = 180.0
SEEK_S = 75.0
"""A peak that both waves together have not shown by then is sought by the short wave alone."""
BENT = "short and long waves do not agree about bias"
UNSEEN = "short and long waves together show no peak of bias"
LEFT = "leave it, or set it as the stock's maker says"
BEYOND_DB = 0.7
"""How far short waves must have fallen on both sides before a peak is believed."""


def bias(bench: Bench) -> Procedure:
    """Set bias on every live track: across the peak, then down to the sheet's over-bias."""
    plan = bench.plan
    band, drop_db = plan.tolerances.over_bias, plan.over_bias_db
    peaks: dict[int, Peak] = {}
    alone = {t for t in range(plan.tracks) if plan.one_tone}
    due = [int(t) for t in np.flatnonzero(bench.live)]
    found = yield from bench.levels(2.0)
    bench.write("as found", trimmer="bias", reading_db=found[0], companion_db=found[1])
    off: dict[int, float] = {}
    for again in range(3):
        for done, track in enumerate(due):
            bench.write("focus", trimmer="bias", track=track + 1)
            peak = yield from _set_track(bench, track, peaks.get(track), alone, (done, len(due)))
            if peak is not None:
                peaks[track] = peak
        bench.advise(None)
        level = yield from bench.levels(4.0)
        off = {t: drop_db - (p.level_db - level[0, t]) for t, p in peaks.items()}
        due = [t for t in peaks if abs(off[t]) > band.set_db and again < 2]
        if not due:
            break
    everyone = range(plan.tracks)
    bench.write(
        "as left",
        trimmer="bias",
        over_bias_db=[drop_db - off[t] if t in off else None for t in everyone],
        peak_db=[peaks[t].level_db if t in peaks else None for t in everyone],
        peak_error_db=[peaks[t].error_db if t in peaks else None for t in everyone],
    )


def _set_track(
    bench: Bench, track: int, peak: Peak | None, alone: set[int], progress: tuple[int, int]
) -> Procedure:
    """Follow one track until it is in; its peak, or None if there is none to trust.

    `alone` are the tracks that are set by the short wave alone; a track may come to join them.
    """
    trace: Trace | OneTone = Trace(bench, track, peak)
    if track in alone:
        trace = OneTone(track, bench.plan, bench.return_lag_s + 0.2, 1 if peak else -1, peak)
    begin = bench.time_s
    while bench.time_s - begin < PATIENCE_S:
        point = yield from bench.point()
        advice = trace.add(float(point.level_db[0, track]), float(point.level_db[1, track]))
        if isinstance(trace, Trace) and (why := trace.untrue(bench.time_s - begin)):
            bench.note(f"{why} on track {track + 1}; the short wave alone is followed")
            alone.add(track)
            trace, begin = trace.alone(), bench.time_s
            continue
        if trace.failed:
            bench.note(f"bias of track {track + 1} is not set: {trace.failed}; {LEFT}")
            return None
        if trace.taken_db is not None and trace.peak is not None:
            bench.write(
                "taken",
                trimmer="bias",
                track=track + 1,
                over_bias_db=trace.taken_db,
                peak_db=trace.peak.level_db,
                error_db=trace.peak.error_db,
                **({"by": "short wave alone"} if track in alone else {}),
            )
            return trace.peak
        if advice is not None:
            bench.advise(advice, *progress)
    bench.note(f"bias of track {track + 1} is not set: no peak was found in {PATIENCE_S:g} s")
    return None


class Trace:
    """The way of one track's bias, point by point, and what to do next.

    First it sees which way D goes ("start"), then has bias lowered until the peak is passed
    ("lower"), raised across it ("raise"), and set to the sheet's fall from it ("set").
    """

    WINDOW = 35

    def __init__(self, bench: Bench, track: int, peak: Peak | None) -> None:
        self._bench, self._track, self.peak = bench, track, peak
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

    def untrue(self, seconds: float) -> str:
        """Why both waves together are not to be followed any longer, if so."""
        if not self.failed and self._phase != "set" and seconds > SEEK_S:
            return UNSEEN
        return self.failed

    def alone(self) -> OneTone:
        """Go on from here by the short wave alone."""
        since, way = self._asked[-1] if self._asked else (len(self._short), -1)
        one = OneTone(self._track, self._bench.plan, self._lag_s, way)
        short = self._short[since:]
        long = [s - d for s, d in zip(short, self._differ[since:], strict=True)]
        one.remember(short, long, self._moved_db)
        return one

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
        self._quiet_from = moved_since(self._short, self._quiet_from, self.WINDOW)
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
            self._track + 1,
            Verdict.of(off, band.set_db),
            way,
            off,
            "dB",
            peak.error_db,
            self._lag_s + self.WINDOW / 10,
            f"bias {self._track + 1}: {side}{word}",
            self._moved_db,
        )

    def _seek(self, way: int, words: str) -> Advice:
        words = f"bias {self._track + 1}: {words}"
        moved = self._moved_db if len(self._differ) >= 8 else 0.0
        return Advice(
            "bias", self._track + 1, Verdict.OUT, way, None, "dB", np.inf, self._lag_s, words, moved
        )
