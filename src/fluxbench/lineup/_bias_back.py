"""The way back of a bias trimmer, by long waves less short ones: they rise with bias throughout."""

from fluxbench.lineup._adjust import AIM, LEAST_S, LONGEST_S
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._readings import Readings
from fluxbench.lineup._view import BACK, WAS_PUT_BACK, Advice, Verdict, move_db, wait_ratio

WINDOW_S = 1.0


def put_bias_back(bench: Bench, track: int, origin_db: float) -> Procedure:
    """Follow a track (from 0) until it reads what it did as found; whether it ended there.

    `origin_db` is the companion less the short wave. It does not end there if the person wants
    the target after all.
    """
    band = bench.plan.tolerances.over_bias
    hold_db = AIM * band.hold_db
    readings = Readings(bench.plan.tracks, WINDOW_S, LONGEST_S)
    while bench.steps.goes_back("bias", track + 1):
        if bench.passed_over("bias", track + 1):
            bench.note_of("bias", track, "is not set: it was passed over")
            return True
        point = yield from bench.point()
        readings.add(point.level_db[1] - point.level_db[0], track)
        now_db, error_db = float(readings.mean()[track]), readings.error(track)
        off_db = origin_db - now_db
        long_enough = readings.age_points()[track] >= 10.0 * (bench.shown_lag_s + LEAST_S)
        if long_enough and abs(off_db) <= hold_db and error_db < 0.5 * hold_db:
            bench.note_of("bias", track, WAS_PUT_BACK)
            return True
        way, word = move_db(off_db, hold_db)
        wait_s = bench.shown_lag_s + WINDOW_S * wait_ratio(off_db, hold_db)
        bench.advise(
            Advice(
                "bias", track + 1, Verdict.of(off_db, band.set_db), way, off_db, "dB", error_db,
                wait_s, f"bias {track + 1}: {word}{BACK}", from_found_db=-off_db, goes_back=True,
            )
        )  # fmt: skip
    return False
