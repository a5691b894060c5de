"""Bias: the peak from short-wave and long-wave level together, and how far past it a track stands."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._bench import Bench, F64, Procedure
from fluxbench.lineup._adjust import AIM
from fluxbench.lineup._view import Advice, Verdict

BEYOND_DB = 0.7
"""How far short waves must have fallen on both sides before a peak is believed."""


@dataclass(frozen=True, slots=True)
class Peak:
    """The greatest short-wave level of a track, found from both sides."""

    level_db: float
    error_db: float
    difference_db: float
    """D at the peak."""
    one_tone: bool
    """Found from the short waves alone, since D did not tell the side."""


def find_peak(short_db: F64, difference_db: F64) -> Peak | None:
    """The peak of S against D (both (points,), 0.1 s apart) if points lie well on both sides.

    A cubic of S against D smoothed over 0.7 s, over the points within about 2 dB of the top. The
    noise of contact is in S and in D alike; at the peak S does not depend on D, so that what is
    left of it in the smoothed D moves the points along a level stretch.
    """
    if len(short_db) < 25:
        return None
    smooth_d = _smoothed(difference_db, 7)
    smooth_s = _smoothed(short_db, 7)
    top = float(np.max(smooth_s[3:-3]))
    reach = 2.2
    for _ in range(2):
        use = (smooth_s > top - reach)
        use[:2] = use[-2:] = False
        d, s = smooth_d[use], short_db[use]
        if len(d) < 20 or np.ptp(d) < 0.8:
            return None
        centre, scale = float(d.mean()), float(np.ptp(d)) / 2
        x = (d - centre) / scale
        weight = _evenly(x)
        coefficients = np.polynomial.polynomial.polyfit(x, s, 3, w=np.sqrt(weight))
        slope = np.polynomial.polynomial.polyder(coefficients)
        bend = np.polynomial.polynomial.polyder(slope)
        roots = np.polynomial.polynomial.polyroots(slope)
        real = [r.real for r in roots if abs(r.imag) < 1e-9 and abs(r.real) < 1.0
                and np.polynomial.polynomial.polyval(r.real, bend) < 0]  # fmt: skip
        if not real:
            return None
        at = real[0]
        top = float(np.polynomial.polynomial.polyval(at, coefficients))
    fitted = np.polynomial.polynomial.polyval(x, coefficients)
    residual = s - fitted
    below, above = x > at, x < at
    if not (below.any() and above.any()):
        return None
    if top - fitted[below].min() < 0.35 or top - fitted[above].min() < 0.35:
        return None
    near = np.abs(fitted - top) < 0.8
    blocks = max(2.0, near.sum() / 4.0)
    noise = float(np.std(residual[near])) if near.sum() > 3 else float(np.std(residual))
    return Peak(top, noise / np.sqrt(blocks), centre + scale * at, False)


def peak_of_sweep(short_db: F64) -> float:
    """The top of one even sweep across the peak, from the short waves alone."""
    smooth = _smoothed(short_db, 7)
    top = int(np.argmax(smooth[3:-3])) + 3
    near = np.flatnonzero(smooth > smooth[top] - 0.5)
    first = last = top
    while first - 1 in near:
        first -= 1
    while last + 1 in near:
        last += 1
    t = np.arange(first, last + 1) - top
    if len(t) < 6:
        return float(smooth[top])
    c = np.polynomial.polynomial.polyfit(t, short_db[first : last + 1], 2)
    if c[2] >= 0:
        return float(smooth[top])
    return float(c[0] - c[1] ** 2 / (4 * c[2]))


def bias(bench: Bench, target_drop_db: float) -> Procedure:
    """Set bias on every live track: across the peak, then down to the sheet's over-bias."""
    plan = bench.plan
    band = plan.tolerances.over_bias
    lag_s = bench.round_trip_s + plan.head_delay_s + 0.2
    peaks: dict[int, Peak] = {}
    due = [int(t) for t in np.flatnonzero(bench.live)]
    total = len(due)
    found = yield from bench.levels(2.0)
    bench.write("as found", trimmer="bias", reading_db=found[0], companion_db=found[1])
    for again in range(3):
        for done, track in enumerate(due):
            bench.write("focus", trimmer="bias", track=track + 1)
            peak = yield from _track(bench, track, target_drop_db, peaks.get(track), lag_s, (done, total))
            if peak is None:
                bench.live[track] = False
                bench.note(f"bias of track {track + 1}: no peak was found; the track is left out")
                continue
            peaks[track] = peak
        bench.advise(None)
        level = yield from bench.levels(4.0)
        off = {t: target_drop_db - (p.level_db - level[0, t]) for t, p in peaks.items()}
        due = [t for t in peaks if abs(off[t]) > band.set_db and again < 2]
        total = len(due)
        if not due:
            break
    bench.write(
        "as left", trimmer="bias",
        over_bias_db=[target_drop_db - off[t] if t in off else None for t in range(plan.tracks)],
        peak_db=[peaks[t].level_db if t in peaks else None for t in range(plan.tracks)],
        peak_error_db=[peaks[t].error_db if t in peaks else None for t in range(plan.tracks)],
    )  # fmt: skip


def _track(
    bench: Bench, track: int, drop_db: float, peak: Peak | None, lag_s: float, count: tuple[int, int]
) -> Procedure:
    band = bench.plan.tolerances.over_bias
    short: list[float] = []
    differ: list[float] = []
    phase = "set" if peak is not None else "start"
    turned_at = 0
    begin = bench.time_s
    fresh_from = 0
    window = 35
    while bench.time_s - begin < 180.0:
        point = yield from bench.point()
        s, m = float(point.level_db[0, track]), float(point.level_db[1, track])
        if not (np.isfinite(s) and np.isfinite(m)):
            continue
        short.append(s)
        differ.append(s - m)
        n = len(short)
        if n < 8:
            bench.advise(_seek(track, 0, "wait", lag_s, 0.0), *count)
            continue
        d = np.array(differ)
        smooth_d = _smoothed(d, 7)
        smooth_s = _smoothed(np.array(short), 7)
        moved = -(float(np.mean(d[-3:])) - float(np.mean(d[:6])))
        if phase == "start":
            bench.advise(_seek(track, -1, "turn a little", lag_s, moved), *count)
            if abs(moved) > 0.6:
                phase = "lower"
        if phase == "lower":
            top = float(np.max(smooth_s[3:-3])) if n > 10 else smooth_s[-1]
            where = int(np.argmax(smooth_s[3:-3])) + 3 if n > 10 else n - 1
            past = top - smooth_s[-4] > BEYOND_DB and smooth_d[-4] > smooth_d[where] + 0.3
            if past:
                phase, turned_at = "raise", n
            else:
                bench.advise(_seek(track, -1, "lower bias until past the peak", lag_s, moved), *count)
        if phase == "raise":
            found = find_peak(np.array(short), d)
            over = found is not None and smooth_d[-2] < found.difference_db
            gone = found.level_db - float(smooth_s[-2]) if found is not None and over else 0.0
            if found is not None and over and gone > max(0.5, drop_db - 0.5):
                phase, peak, fresh_from = "set", found, n
            else:
                bench.advise(_seek(track, 1, "raise bias past the peak", lag_s, moved), *count)
        if phase == "set" and peak is not None:
            fresh_from = _moved_since(short, fresh_from, window)
            if n - fresh_from < 4:
                continue
            now = float(np.mean(short[max(fresh_from, n - window):]))
            if peak.level_db - now > 0.4 and not np.isnan(peak.difference_db) and n % 10 == 0 and len(short) > 60:
                better = find_peak(np.array(short), d)
                peak = better or peak
            side_d = float(np.mean(differ[max(fresh_from, n - window):]))
            fall = peak.level_db - now
            over_bias = fall if side_d < peak.difference_db else -max(fall, 0.0)
            off = drop_db - over_bias
            verdict = Verdict.IN if abs(off) <= band.set_db else Verdict.NEAR if abs(off) < 0.8 else Verdict.OUT
            way = 0 if abs(off) <= AIM * band.hold_db else (1 if off > 0 else -1)
            side = "" if over_bias >= 0 else "wrong side: too little bias; "
            word = "hold" if way == 0 else f"{'raise' if way > 0 else 'lower'} {abs(off):.2f} dB"
            bench.advise(
                Advice("bias", track + 1, verdict, way, off, "dB", peak.error_db,
                       lag_s + window / 10, f"bias {track + 1}: {side}{word}", moved), *count)  # fmt: skip
            if way == 0 and n - fresh_from >= window:
                bench.write("taken", trimmer="bias", track=track + 1, over_bias_db=over_bias,
                            peak_db=peak.level_db, error_db=peak.error_db)  # fmt: skip
                return peak
    return None


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


def _seek(track: int, way: int, words: str, lag_s: float, moved_db: float) -> Advice:
    return Advice("bias", track + 1, Verdict.OUT, way, None, "dB", np.inf, lag_s,
                  f"bias {track + 1}: {words}", moved_db)  # fmt: skip


def _smoothed(values: F64, points: int) -> F64:
    padded = np.pad(values, points // 2, mode="edge")
    return np.convolve(padded, np.ones(points) / points, "valid")


def _evenly(x: NDArray[np.float64]) -> F64:
    """Weights that count each stretch of x alike, however long the hand dwelt there."""
    bins = np.clip(((x + 1.0) * 10).astype(int), 0, 19)
    count = np.bincount(bins, minlength=20)
    return np.asarray(1.0 / np.maximum(count[bins], 3))
