"""Bias: the peak from short and long waves together, and how far past it a track stands."""

from collections import deque
from dataclasses import replace

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._bias_back import put_bias_back
from fluxbench.lineup._neighbours import Neighbours
from fluxbench.lineup._one_tone import OneTone
from fluxbench.lineup._peak import Fall, Peak, modulation_noise_db
from fluxbench.lineup._point import Point
from fluxbench.lineup._trace import BEFORE, Trace

LEARN_S = 4.0
"""To see what tracks do together, before the first is turned."""
AGAIN = 0.55
"""A track that its neighbours have moved by more than this part of it is offered again."""
LEFT = "leave it, or set it as the stock's maker says"


def bias(bench: Bench) -> Procedure:
    """Set bias on every live track: across the peak, then down to the sheet's over-bias."""
    yield from bench.step("set bias", _bias(bench))


def _bias(bench: Bench) -> Procedure:
    plan = bench.plan
    band, drop_db = plan.tolerances.over_bias, plan.over_bias_db
    peaks: dict[int, Peak] = dict(bench.steps.parts("peak"))
    due = [int(t) for t in np.flatnonzero(bench.live) if t not in peaks]
    first_db = yield from _as_found(bench)
    origin_db = bench.way_back.origin("bias", first_db[1] - first_db[0])
    walk = yield from _listen(bench)
    off: dict[int, float] = {}
    settled: set[int] = set()
    for again in range(3):
        total, by = len(due), "bench"
        while due:
            track = due.pop(0)
            bench.write("focus", trimmer="bias", track=track + 1, by=by)
            trace = yield from _set_track(
                bench, walk, (track, peaks.get(track)), origin_db, (total - 1 - len(due), total)
            )
            by = "bench"
            if bench.steps.goes_back("bias", track + 1):
                settled.add(track)
                continue
            if trace.taken_db is not None and trace.peak is not None:
                walk.learn(trace)
                peaks[track] = trace.peak
                if isinstance(trace, Trace) and trace.on_step:
                    settled.add(track)
                    bench.note_of("bias", track, trace.on_step)
                bench.steps.keep_part("peak", (track, trace.peak))
            elif bench.wanted is not None:
                due.insert(0, track)
            if bench.wanted is not None:
                due = [bench.wanted, *(t for t in due if t != bench.wanted)]
                by, bench.wanted = "person", None
        bench.advise(None)
        level = yield from bench.levels(3.0)
        off = {t: drop_db - (p.level_db - level[0, t]) for t, p in peaks.items()}
        due = [
            t
            for t in peaks
            if t not in settled and abs(off[t]) > AGAIN * band.hold_db and again < 2
        ]
        if not due:
            break
    bench.way_back.turned("bias", first_db[1] - first_db[0], level[1] - level[0])
    for t in (t for t in off if abs(off[t]) > band.set_db):
        bench.note_of("bias", t, f"is not in: {off[t]:+.2f} dB of over-bias are left")
        bench.bias_off[t] = True
    _write_left(bench, peaks, off)


def _as_found(bench: Bench) -> Procedure:
    """Levels (2, tracks) before the first trimmer was turned, also before an interruption."""
    found = yield from bench.levels(2.0)
    if not bench.steps.parts("as found"):
        bench.write("as found", trimmer="bias", reading_db=found[0], companion_db=found[1])
        bench.steps.keep_part("as found", found)
    return bench.steps.parts("as found")[0]


def _write_left(bench: Bench, peaks: dict[int, Peak], off_db: dict[int, float]) -> None:
    drop_db = bench.plan.over_bias_db
    first_db = bench.steps.parts("as found")[0][0]
    bench.write(
        "as left",
        trimmer="bias",
        target_db=drop_db,
        found_over_bias_db=_row(bench, {t: p.level_db - first_db[t] for t, p in peaks.items()}),
        over_bias_db=_row(bench, {t: drop_db - off for t, off in off_db.items()}),
        peak_db=_row(bench, {t: p.level_db for t, p in peaks.items()}),
        peak_error_db=_row(bench, {t: p.error_db for t, p in peaks.items()}),
    )


def _row(bench: Bench, of: dict[int, float]) -> F64:
    return np.array([of.get(t, np.nan) for t in range(bench.plan.tracks)])


class Walk:
    """What is known of all tracks while one after another is set."""

    def __init__(self, bench: Bench, points: list[Point]) -> None:
        tracks = bench.plan.tracks
        self._bench = bench
        self._neighbours = Neighbours(tracks)
        self._recent = deque((p.level_db for p in points), maxlen=BEFORE)
        self._alone = {t for t in range(tracks) if bench.plan.one_tone}
        self._fall: Fall | None = None
        for point in points:
            self._neighbours.learn(point.level_db[0])

    def begin(self, track: int, peak: Peak | None) -> Trace | OneTone:
        """Begin on a track (from 0) whose peak may be known."""
        if track in self._alone:
            lag_s = self._bench.shown_lag_s
            return OneTone(track, self._bench.plan, lag_s, 1 if peak else -1, peak)
        trace = Trace(self._bench, track, peak, self._neighbours, self._fall)
        for level_db in self._recent:
            trace.take(level_db)
        return trace

    def see(self, level_db: F64, track: int) -> None:
        """Take a point (2, tracks) while a track is in hand."""
        self._recent.append(level_db)
        self._neighbours.learn(level_db[0], track)

    def learn(self, trace: Trace | OneTone) -> None:
        """Remember from a track that is done how far a next one may have to go."""
        if isinstance(trace, Trace):
            self._fall = trace.fall

    def alone(self, trace: Trace) -> OneTone:
        """Follow this track by the short wave alone from now on."""
        self._bench.note(f"{trace.untrue} on track {trace.track + 1}; the short wave alone is used")
        self._alone.add(trace.track)
        return trace.alone()


def _listen(bench: Bench) -> Procedure:
    """What tracks do together while nobody turns."""
    return Walk(bench, (yield from bench.gather(LEARN_S)))


def _set_track(
    bench: Bench,
    walk: Walk,
    of: tuple[int, Peak | None],
    origin_db: F64,
    done_due: tuple[int, int],
) -> Procedure:
    """Follow one track until it is in, has failed, or the person wants another one; its way."""
    track = of[0]
    bench.bias_off[track] = False
    trace = walk.begin(*of)
    moved_db: deque[float] = deque(maxlen=BEFORE)
    while not bench.passed_over("bias", track + 1):
        if bench.wanted not in (None, track) and bench.live[bench.wanted]:
            return trace
        bench.wanted = None
        if bench.steps.goes_back("bias", track + 1):
            if (yield from put_bias_back(bench, track, origin_db[track])):
                return trace
            trace = walk.begin(*of)
        point = yield from bench.point()
        moved_db.append(float(point.level_db[1, track] - point.level_db[0, track]))
        walk.see(point.level_db, track)
        advice = trace.add(point.level_db, modulation_noise_db(point.envelope[:, 1, track]))
        if isinstance(trace, Trace) and trace.untrue:
            trace = walk.alone(trace)
            continue
        bench.pictures[track] = trace.picture
        if trace.failed:
            bench.note_of("bias", track, f"is not set: {trace.failed}; {LEFT}")
            bench.bias_off[track] = True
            return trace
        if trace.taken_db is not None and trace.peak is not None:
            by = {"by": "short wave alone"} if isinstance(trace, OneTone) else {}
            bench.write(
                "taken",
                trimmer="bias",
                track=track + 1,
                over_bias_db=trace.taken_db,
                peak_db=trace.peak.level_db,
                error_db=trace.peak.error_db,
                **by,
            )
            return trace
        if advice is not None:
            moved = float(np.nanmean(moved_db)) - float(origin_db[track])
            bench.advise(replace(advice, from_found_db=moved), *done_due)
    bench.note_of("bias", track, "is not set: it was passed over")
    return trace
