"""The stages on the session's own stock: record azimuth, bias, high end, level, low end, verify."""

from collections.abc import Mapping

import numpy as np

from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._azimuth import FINE, GLANCE_S, LEAST_S, ROUGH, azimuth, rough_hold_ratio
from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._bias import bias
from fluxbench.lineup._bias_master import master_bias
from fluxbench.lineup._condition import check_erasure, learn_polarity
from fluxbench.lineup._low import low_end
from fluxbench.lineup._one_track import one_track_azimuth, shortest_hz
from fluxbench.lineup._point import mean_level_db
from fluxbench.lineup._probe import PROBE_HZ, check_head_delay, check_order, onset_s
from fluxbench.lineup._slope import angle_weights
from fluxbench.lineup._stages_reproduce import stop_tape
from fluxbench.lineup._telling import Stop
from fluxbench.trade import (
    COMPANION_RE_BIAS_DB,
    HIGH_END_HZ,
    LEVEL_HZ,
    azimuth_frequency_hz,
    companion_frequency_hz,
    pitch,
)

TAILS_OUT = "the line-up is done; keep the reel tails out, so that what prints through is masked"
LOW_DB = -20.0
RESPONSE_DB = -24.0
"""Each of three tones at once; the first of them is sure to come back."""
RESPONSE_HZ = (
    (63.0, 125.0, 250.0),
    (500.0, 2000.0, 4000.0),
    (8000.0, 12_500.0, 16_000.0),
    (10_000.0, 20_000.0),
)
MOST_DROPOUTS_PER_MIN = 3.0
"""From memory: 0.5 to 5 on the worst track of a good tape; this is the mean of all."""


def load_stock(bench: Bench) -> Procedure:
    """Load the stock, record on all tracks, prove that what returns comes off the tape."""
    bench.stage("load")
    if bench.loaded != "stock":
        yield from stop_tape(bench)
    yield from bench.step("load", _load_stock(bench))


def _load_stock(bench: Bench) -> Procedure:
    bench.silence()
    if bench.loaded != "stock":
        yield from bench.ask("load", "load the session's stock", tape="stock")
    yield from bench.record_all()
    bench.listen(PROBE_HZ)
    yield from bench.wait(1.2 + bench.plan.head_delay_s)
    onset = yield from onset_s(bench)
    if np.isnan(onset):
        raise Stop("recording, but nothing comes back off the tape: check ready, monitor and bias")
    check_head_delay(bench, onset)
    yield from bench.settle()
    points = yield from bench.gather(0.5)
    level = mean_level_db(points)[0]
    for t in np.flatnonzero(bench.live & ~(level > -30.0)):
        bench.leave_out(int(t), "does not record" if level[t] <= -30.0 else "clips: turn it down")
    learn_polarity(bench, points)
    yield from check_order(bench)
    yield from check_erasure(bench)


def recording(bench: Bench) -> Procedure:
    """Have all of the stock recorded if it is not, as when a stage is gone to out of its order."""
    if bench.source[0] != "record" or not bench.recorded.all():
        bench.silence()
        yield from bench.record_all()


def record_azimuth(bench: Bench, stage: str) -> Procedure:
    """The record head to the angle of the calibration tape, by the reproduce head as left."""
    if "record_azimuth" not in bench.plan.trimmers or not bench.live.any():
        return
    bench.stage(stage)
    yield from recording(bench)
    tell_bias_off(bench)
    if bench.live.sum() == 1:
        bench.send((shortest_hz(bench.plan), LOW_DB))
        yield from bench.settle()
        yield from one_track_azimuth(bench, "record_azimuth", LOW_DB)
        return
    tone_hz = azimuth_frequency_hz(bench.plan.speed_ips)
    rough = rough_hold_ratio(bench, tone_hz)
    if rough is not None:
        bench.send((LEVEL_HZ, LOW_DB))
        yield from bench.settle()
        yield from azimuth(bench, "record_azimuth", bench.azimuth_left_arcmin, rough, GLANCE_S)
    bench.send((tone_hz, LOW_DB))
    yield from bench.settle()
    held = (ROUGH, GLANCE_S) if stage == "azimuth" else (FINE, LEAST_S)
    yield from azimuth(bench, "record_azimuth", bench.azimuth_left_arcmin, *held)


def tell_bias_off(bench: Bench) -> None:
    """Say which tracks tell nothing of the record head's angle, and whether it is in doubt."""
    off = bench.live & bench.bias_off
    if off.any():
        tracks = ", ".join(f"{t + 1}" for t in np.flatnonzero(off))
        why = f"the bias of track {tracks} is not in"
        if angle_weights(bench) is not None:
            bench.note(f"record azimuth is set by the other tracks: {why}")
        else:
            bench.note(f"record azimuth is in doubt: {why}; set it and come back to this stage")


def bias_stage(bench: Bench) -> Procedure:
    """Bias by short and long wave together, at the sheet's own tone and level."""
    plan = bench.plan
    if "bias" not in plan.trimmers:
        return
    bench.stage("bias")
    yield from recording(bench)
    bench.send(
        (plan.over_bias_hz, plan.over_bias_level_db),
        (
            companion_frequency_hz(plan.over_bias_hz),
            plan.over_bias_level_db + COMPANION_RE_BIAS_DB,
        ),
    )
    yield from bench.settle()
    yield from master_bias(bench) if plan.master_bias else bias(bench)


def record_high_end(bench: Bench) -> Procedure:
    """High end against 1 kHz at -20 dB; the target is what the calibration tape reads as left."""
    plan = bench.plan
    level_left, high_left = _left_db(bench)
    bench.stage("record high end")
    yield from recording(bench)
    bench.send((LEVEL_HZ, 0.0))
    yield from bench.settle()
    operating = (yield from bench.levels(2.0))[0]
    bench.write("as found", trimmer="record_level", reading_db=operating)
    bench.send((LEVEL_HZ, LOW_DB), (HIGH_END_HZ, LOW_DB))
    yield from bench.settle()
    if "record_high" in plan.trimmers:
        low = yield from bench.levels(3.0)
        compressed = np.clip(low[0] - LOW_DB - operating, 0.0, 1.0)
        then = np.clip(compressed * 10.0 ** ((level_left - operating) / 10.0), 0.0, 1.0)
        rise = (level_left + then) - (operating + compressed)
        target = LOW_DB + high_left - rise
        target = low[1] + (target - low[1]) / (1.0 - 0.02)
        job = Job("record_high", plan.tolerances.high_end, 1.5, lambda point: point.level_db[1])
        yield from adjust(bench, job, target)


def record_level(bench: Bench) -> Procedure:
    """Operating level; the target is what the calibration tape reads as left."""
    if "record_level" not in bench.plan.trimmers:
        return
    bench.stage("record level")
    yield from recording(bench)
    bench.send((LEVEL_HZ, 0.0))
    yield from bench.settle()
    band = bench.plan.tolerances.level
    job = Job("record_level", band, 0.6, lambda point: point.level_db[0])
    yield from adjust(bench, job, _left_db(bench)[0])


def _left_db(bench: Bench) -> tuple[F64, F64]:
    """What the reproduce side was left at re its target: level and high end (tracks,) each."""
    nothing = np.zeros(bench.plan.tracks)
    return bench.left_db.get("reproduce", (nothing, nothing))


def low_stage(bench: Bench) -> Procedure:
    """The low end, from the deck's own recording."""
    if "reproduce_low" not in bench.plan.trimmers:
        return
    bench.stage("low end")
    yield from recording(bench)
    yield from low_end(bench)


def verify(bench: Bench) -> Procedure:
    """Operating level, the high end and the response of all tracks, as left."""
    bench.stage("verify")
    level_left, high_left = _left_db(bench)
    yield from recording(bench)
    bench.send((LEVEL_HZ, 0.0))
    yield from bench.settle()
    level = (yield from bench.levels(2.0))[0] - level_left
    bench.send((LEVEL_HZ, LOW_DB), (HIGH_END_HZ, LOW_DB))
    yield from bench.settle()
    high = (yield from bench.levels(3.0))[1] - LOW_DB - high_left
    bench.write("verify", record_level_db=level, record_high_db=high)
    accept = bench.plan.tolerances
    for name, off, band in (
        ("record level", level, accept.level),
        ("record high end", high, accept.high_end),
    ):
        for t in np.flatnonzero(bench.live & (np.abs(off) > band.accept_db)):
            bench.note(f"{name} of track {t + 1} stands {off[t]:+.2f} dB off after the line-up")
    rows: dict[str, F64] = {}
    for few in RESPONSE_HZ:
        bench.send(*((f, RESPONSE_DB) for f in few))
        yield from bench.settle()
        read = yield from bench.levels(1.5)
        rows |= {f"{f:g}": read[k] - RESPONSE_DB for k, f in enumerate(few)}
    bench.write("response", level_db=rows)
    check_response(bench, rows)
    check_dropouts(bench)


def check_response(bench: Bench, rows: Mapping[str, F64]) -> None:
    """Say which tracks leave the band that is accepted from 60 Hz to 15 kHz; rows by frequency."""
    accept = bench.plan.tolerances
    low, high = accept.response_low_hz, accept.response_high_hz
    inside = {f: row for f, row in rows.items() if low <= float(f) <= high}
    off = np.nan_to_num(np.array(list(inside.values())))
    for t in np.flatnonzero(bench.live & (np.abs(off).max(axis=0) > accept.response_db)):
        worst = int(np.argmax(np.abs(off[:, t])))
        at = pitch(float(list(inside)[worst]))
        bench.note(
            f"response of track {t + 1} is {off[worst, t]:+.1f} dB at {at},"
            f" beyond {accept.response_db:g} dB"
        )


def check_dropouts(bench: Bench) -> None:
    """Say it if either tape drops out more than a good one does."""
    for source, tape in (("play", "calibration tape"), ("record", "stock")):
        per_min, minutes = bench.dropouts.per_minute(source)
        bench.write("drop-outs", tape=tape, per_min=per_min, minutes=minutes)
        mean = float(per_min[bench.live].mean())
        if mean > MOST_DROPOUTS_PER_MIN and mean * minutes * bench.live.sum() >= 8:
            worst = int(np.argmax(np.where(bench.live, per_min, -1.0)))
            bench.note(
                f"drop-outs on the {tape}: {mean:.1f} a minute in the mean of the tracks, most on"
                f" track {worst + 1}; clean the path, or try another reel"
            )


def close(bench: Bench) -> Procedure:
    """Have the deck stopped."""
    bench.stage("close")
    yield from bench.ask(
        "transport", f"stop; {TAILS_OUT}", state="stop", ready=[], monitor="reproduce"
    )
