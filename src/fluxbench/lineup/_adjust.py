"""One trimmer per track, one track after another, until each reads its target."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Point, Procedure
from fluxbench.lineup._follow import Follower
from fluxbench.lineup._readings import Readings
from fluxbench.lineup._view import Advice, Verdict
from fluxbench.trade import LevelTolerance

PATIENCE_S = 120.0
AIM = 0.55
"""The hand is stopped within this part of the hold band, so that readings do not end at its edge."""


@dataclass(frozen=True, slots=True)
class Job:
    """What one round of trimming is about."""

    trimmer: str
    band: LevelTolerance
    window_s: float
    reading: Callable[[F64], F64]
    """Level (tones, tracks) in dB -> the reading (tracks,) that is compared with the target."""


def adjust(
    bench: Bench,
    job: Job,
    target_db: F64,
    meter: Callable[[Point], F64] | None = None,
    memory_s: float = 0.0,
) -> Procedure:
    """Bring every live track to its target (tracks,); offer again what was disturbed meanwhile.

    The focus goes to the next track that is due, or to the one that a hand is seen turning.
    `meter` reads a point where `job.reading` of its levels will not do; it remembers `memory_s`.
    """
    read = meter if meter is not None else (lambda point: job.reading(point.level_db))
    plan = bench.plan
    readings = Readings(plan.tracks, job.window_s, 8.0)
    follower = Follower(plan.tracks)
    while readings.count < (job.window_s + memory_s) * 10 + 2:
        point = yield from bench.point()
        readings.add(read(point))
    found = readings.mean()
    bench.write("as found", trimmer=job.trimmer, reading_db=found, target_db=target_db)
    usable = bench.live & np.isfinite(found)
    due = usable & (np.abs(target_db - found) > job.band.hold_db)
    lag_s = (
        bench.round_trip_s
        + (plan.head_delay_s if bench.source[0] == "record" else 0.0)
        + 0.2
        + memory_s
    )
    stuck = np.zeros(plan.tracks, bool)
    rounds = 0
    total = int(due.sum())
    while due.any() and rounds < 4:
        rounds += 1
        focus = int(np.flatnonzero(due)[0])
        bench.write("focus", trimmer=job.trimmer, track=focus + 1)
        since, seen = bench.time_s, 0
        recent: list[F64] = []
        while due.any():
            point = yield from bench.point()
            now = read(point)
            readings.add(now)
            recent.append(now)
            if len(recent) == 3:
                moved = follower.see(
                    np.nanmean(np.array(recent), axis=0) if np.isfinite(recent).any() else now
                )
                recent.clear()
                if moved is not None and moved != focus and bench.live[moved]:
                    focus, since = moved, bench.time_s
                    due[focus] = True
                    bench.write("focus", trimmer=job.trimmer, track=focus + 1, hand=True)
            mean = readings.mean()
            deviation = target_db - mean
            steady = readings.steady()
            off = float(deviation[focus])
            inside = abs(off) <= AIM * job.band.hold_db or (
                abs(off) <= job.band.hold_db and readings.age_points()[focus] >= 75
            )
            error = float(readings.error()[focus])
            sure = steady[focus] and (
                error < 0.3 * job.band.hold_db or readings.age_points()[focus] >= 80
            )
            if (inside and sure) or bench.time_s - since > PATIENCE_S:
                if inside:
                    bench.write("taken", trimmer=job.trimmer, track=focus + 1,
                                reading_db=mean[focus], error_db=error)  # fmt: skip
                else:
                    stuck[focus] = True
                    bench.note(
                        f"{job.trimmer} of track {focus + 1} cannot be brought in: {off:+.2f} dB left"
                    )
                due[focus] = False
                follower.forget(focus)
                rest = np.flatnonzero(due)
                if len(rest):
                    later = rest[rest > focus]
                    focus = int(later[0] if len(later) else rest[0])
                    since = bench.time_s
                    bench.write("focus", trimmer=job.trimmer, track=focus + 1)
                continue
            seen += 1
            bench.advise(
                _advice(job, focus, off, error, lag_s), total - int(due.sum()), int(due.sum())
            )
        bench.advise(None)
        for _ in range(round((job.window_s + 3.0) * 10)):
            point = yield from bench.point()
            readings.add(read(point))
        due = usable & ~stuck & (np.abs(target_db - readings.mean()) > 1.4 * job.band.hold_db)
    left = readings.mean()
    bench.write("as left", trimmer=job.trimmer, reading_db=left, error_db=readings.error())
    return left


def _advice(job: Job, track: int, off: float, error: float, lag_s: float) -> Advice:
    if not np.isfinite(off):
        return Advice(job.trimmer, track + 1, Verdict.NO_READING, 0, None, "dB", np.inf,
                      job.window_s, f"{job.trimmer} {track + 1}: no reading")  # fmt: skip
    verdict = (
        Verdict.IN if abs(off) <= job.band.set_db
        else Verdict.NEAR if abs(off) <= 3 * job.band.set_db else Verdict.OUT
    )  # fmt: skip
    way = 0 if abs(off) <= AIM * job.band.hold_db else (1 if off > 0 else -1)
    word = "hold" if way == 0 else f"{'raise' if way > 0 else 'lower'} {abs(off):.2f} dB"
    return Advice(job.trimmer, track + 1, verdict, way, off, "dB", error,
                  lag_s + job.window_s, f"{job.trimmer.replace('_', ' ')} {track + 1}: {word}")  # fmt: skip
