"""The stages before the calibration tape is threaded: input check, and that safe is safe."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._condition import check_hum
from fluxbench.lineup._probe import (
    PROBE_HZ,
    check_head_delay,
    check_order,
    check_order_by_ready,
    onset_s,
)
from fluxbench.lineup._telling import Stop

LESS_DB, FOLLOWS_DB = 20.0, 1.0
"""So much less is sent once, and the returns must fall by as much within this."""


def input_check(bench: Bench) -> Procedure:
    """No tape: levels, order and polarity of every return, and the round trip of the link."""
    bench.stage("input check")
    yield from bench.step("input check", _input_check(bench))


def _input_check(bench: Bench) -> Procedure:
    yield from bench.ask(
        "transport",
        "stop the tape and listen to the input",
        state="stop",
        ready=[],
        monitor="input",
    )
    bench.listen(PROBE_HZ)
    yield from bench.wait(0.6)
    bench.round_trip_s = yield from onset_s(bench)
    if np.isnan(bench.round_trip_s):
        silent = Stop("nothing comes back: check interface, cables and the deck's monitor switch")
        if bench.cables.whole:
            raise silent
        yield from bench.doubt(silent)
        for t in np.flatnonzero(bench.live):
            bench.leave_out(int(t), "does not come back")
    yield from bench.wait(0.6)
    levels = (yield from bench.levels(1.0))[0]
    for t in np.flatnonzero(bench.live & np.isnan(levels)):
        bench.leave_out(int(t), "clips at the interface: turn its return down")
    for t in np.flatnonzero(levels <= -30.0):
        bench.leave_out(int(t), "is dead: its input does not come back")
    bench.write("input levels", level_db=levels)
    off = bench.live & (np.abs(levels) > 1.0)
    for t in np.flatnonzero(off):
        bench.note(f"track {t + 1} returns its input at {levels[t]:+.1f} dB: check its input level")
    phase = (yield from bench.gather(0.3))[0].envelope.mean(axis=0)[0]
    reference = np.exp(1j * np.angle(phase[bench.live].sum() if bench.live.any() else 1.0))
    for t in np.flatnonzero(bench.live & ((phase * reference.conj()).real < 0.0)):
        bench.note(f"track {t + 1} comes back reversed in polarity")
    yield from _check_follows(bench, levels)
    yield from check_order(bench)
    bench.silence()
    yield from bench.wait(0.3)


def _check_follows(bench: Bench, full_db: F64) -> Procedure:
    """Send less: every return must fall by as much, or something between works on levels."""
    bench.send((PROBE_HZ, -LESS_DB))
    yield from bench.wait(0.6 + bench.return_lag_s)
    fell_db = full_db - (yield from bench.levels(0.5))[0]
    off_db = np.where(bench.live & np.isfinite(fell_db), fell_db - LESS_DB, 0.0)
    wrong = np.flatnonzero(np.abs(off_db) > FOLLOWS_DB)
    bench.write("input follows", fell_db=fell_db)
    if len(wrong):
        worst = int(np.argmax(np.abs(off_db)))
        who = "every return" if len(wrong) == bench.live.sum() else f"return {worst + 1}"
        raise Stop(
            f"{who} falls by {fell_db[worst]:.1f} dB where {LESS_DB:.0f} dB less are sent: take"
            " noise reduction, compressors and gates out of the returns"
        )


def safe_check(bench: Bench) -> Procedure:
    """On scrap tape, record pressed with every track safe: nothing may come back off the tape."""
    bench.stage("prepare")
    yield from bench.step("safe", _safe_check(bench))


def _safe_check(bench: Bench) -> Procedure:
    if bench.loaded != "stock":
        yield from bench.ask("load", "load scrap tape (the stock will do)", tape="stock")
    yield from bench.ask("transport", "all tracks safe; press record; listen to the reproduce head",
                         state="record", ready=[], monitor="reproduce")  # fmt: skip
    bench.silence()
    bench.listen(PROBE_HZ)
    yield from bench.wait(1.5)
    onset = yield from onset_s(bench)
    bench.silence()
    if not np.isnan(onset):
        check_head_delay(bench, onset)
        raise Stop(f"a track records although all are safe: it would wipe {bench.plan.tape_told}")
    bench.write("safe", proved=True)
    yield from check_hum(bench)
    if bench.cables.mult is not None and bench.live.sum() > 1:
        yield from check_order_by_ready(bench)
    yield from bench.ask("transport", "stop", state="stop", ready=[], monitor="reproduce")
