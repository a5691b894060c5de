"""Bias by one trimmer that moves all tracks: followed by their mean, judged track by track."""

from dataclasses import replace

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._neighbours import Neighbours
from fluxbench.lineup._one_tone import OneTone
from fluxbench.lineup._peak import find_peak
from fluxbench.lineup._trace import Trace


def master_bias(bench: Bench) -> Procedure:
    """Set the master so that the mean over-bias of all live tracks is the sheet's."""
    yield from bench.step("set master bias", _master_bias(bench))


def _master_bias(bench: Bench) -> Procedure:
    plan = bench.plan
    found = yield from bench.levels(2.0)
    bench.write("as found", trimmer="bias", reading_db=found[0], companion_db=found[1])
    bench.bias_off[:] = False
    rows: list[F64] = []
    lag_s = bench.shown_lag_s
    mean: Trace | OneTone
    mean = OneTone(0, plan, lag_s) if plan.one_tone else Trace(bench, 0, None, Neighbours(1))
    while mean.taken_db is None:
        if bench.passed_over("bias", None):
            _not_set(bench, "the master was passed over")
            return
        level_db = (yield from bench.point()).level_db
        if np.isfinite(level_db[:, bench.live]).all():
            rows.append(level_db)
        advice = mean.add(level_db[:, bench.live].mean(axis=1, keepdims=True))
        if isinstance(mean, Trace) and mean.untrue:
            bench.note(f"{mean.untrue} in the mean of the tracks; the short wave alone is used")
            mean = mean.alone()
            continue
        if mean.failed:
            _not_set(bench, f"{mean.failed}; leave it, or set it as its maker says")
            return
        if advice is not None:
            words = advice.words.replace("bias 1", "bias of all tracks", 1)
            bench.advise(replace(advice, track=None, words=words), 0, 1)
    bench.advise(None)
    if isinstance(mean, Trace) and mean.on_step:
        bench.note(f"bias of all tracks {mean.on_step}")
    _tell(bench, np.array(rows), (yield from bench.levels(4.0))[0], found[0])


def _not_set(bench: Bench, why: str) -> None:
    """Say so; no track then tells the record head's angle."""
    bench.note(f"bias is not set: {why}")
    bench.bias_off[bench.live] = True
    bench.advise(None)


def _tell(bench: Bench, rows: F64, level_db: F64, found_db: F64) -> None:
    """How each track stands re its own peak; rows (points, tones, tracks), levels (tracks,)."""
    plan = bench.plan
    peaks = {
        int(t): find_peak(rows[:, 0, t], rows[:, 0, t] - rows[:, 1, t])
        for t in np.flatnonzero(bench.live)
    }
    known = {t: peak for t, peak in peaks.items() if peak is not None}
    over_bias_db = {t: peak.level_db - float(level_db[t]) for t, peak in known.items()}
    for t in peaks.keys() - known.keys():
        bench.note_of("bias", t, "went with the others; its own peak was not seen")
    for t, fall_db in over_bias_db.items():
        off_db = plan.over_bias_db - fall_db
        if abs(off_db) > plan.tolerances.over_bias.set_db:
            bench.note_of(
                "bias",
                t,
                f"stands {-off_db:+.2f} dB of over-bias off the sheet's, and the master moves all"
                " tracks: see to that track's own bias",
            )
    everyone = range(plan.tracks)
    bench.write(
        "as left",
        trimmer="bias",
        target_db=plan.over_bias_db,
        found_over_bias_db=[
            known[t].level_db - found_db[t] if t in known else None for t in everyone
        ],
        over_bias_db=[over_bias_db.get(t) for t in everyone],
        peak_db=[known[t].level_db if t in known else None for t in everyone],
        peak_error_db=[known[t].error_db if t in known else None for t in everyone],
    )
