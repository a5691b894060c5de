"""What recording silence leaves of a tone: the only reading that winds the tape back."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import mean_level_db
from fluxbench.lineup._presence import is_there
from fluxbench.lineup._verified_rows import MOST_TRIES, Row
from fluxbench.measure import Measured
from fluxbench.trade import LEVEL_HZ

BEGIN_S, TONE_S = 5.0, 24.0
OVER_S = 6.0
"""Silence begins so long after the tone did: a counter is good to a few seconds either way."""
AFTER_S = 1.0
"""The erased tape is under the reproduce head."""
READ_S = 4.0
PLAY_ON_S = 4.0
THERE_POINTS = 5


def erasure(bench: Bench) -> Procedure:
    """What is left of 1 kHz at operating level where nothing was recorded over it, re the tone."""
    tracks = bench.plan.tracks
    value, error, below = (np.full(tracks, np.nan) for _ in range(3))
    for _ in range(MOST_TRIES):
        was_db = yield from _record_tone(bench)
        if was_db is None:
            continue
        read: Measured = yield from _record_silence(bench)
        there = yield from _plays_on(bench)
        if there:
            re_dbfs = bench.plan.zero_dbfs + was_db
            value = read.values["level_db"] - re_dbfs
            error = read.values["standard_error_db"]
            below = read.values["limit_db"] - re_dbfs
            break
    else:
        bench.note(
            "erasure was not read: the rest of the tone did not come where the tape had been wound"
            " back to"
        )
    limit = bench.plan.tolerances.erasure_db
    return [Row("left of 1 kHz", "dB", value, error, limit, hidden_below=below)]


def _record_tone(bench: Bench) -> Procedure:
    """Level of the tone (tracks,), dB re 0 VU; None if the tape had to be seen to meanwhile."""
    bench.send((LEVEL_HZ, 0.0))
    where = f"wind the stock to {BEGIN_S:g} s from its beginning"
    yield from bench.ask("locate", where, position_s=BEGIN_S)
    yield from bench.record_all()
    yield from bench.settle()
    asked, end_s = bench.asked, bench.time_s + TONE_S
    points = []
    while bench.time_s < end_s:
        points.append((yield from bench.point()))
    was_db: F64 = mean_level_db(points)[0]
    return was_db if bench.asked == asked else None


def _record_silence(bench: Bench) -> Procedure:
    bench.silence()
    at_s = BEGIN_S + OVER_S
    where = f"wind the stock back to {at_s:g} s from its beginning, into the tone"
    yield from bench.ask("locate", where, position_s=at_s)
    yield from bench.record_all()
    yield from bench.wait(bench.return_lag_s + AFTER_S)
    return (yield from bench.stretch("remains", READ_S, LEVEL_HZ))


def _plays_on(bench: Bench) -> Procedure:
    """Whether the rest of the tone comes when the tape plays on: it was the tone that went."""
    bench.listen(LEVEL_HZ)
    yield from bench.ask(
        "transport",
        "play on, without recording: the rest of the tone is still there",
        state="play",
        ready=[],
        monitor="reproduce",
    )
    there, end_s = 0, bench.time_s + PLAY_ON_S
    while bench.time_s < end_s and there < THERE_POINTS:
        there += is_there((yield), bench.live, 1)
    return there >= THERE_POINTS
