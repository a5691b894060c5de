"""Probes of the path: how long a tone takes to return, and whether each return is its own."""

from collections.abc import Generator, Mapping

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import Point
from fluxbench.lineup._telling import Stop
from fluxbench.signals import PerTrack, Tone

PROBE_HZ = 1000.0
THERE_DB = -25.0
"""A track that records, as badly as it may be trimmed, gives more than this of operating level."""
AGAIN_S = 1.0
"""Longer than a tone that is sent no more takes to have gone, off the tape too."""


def check_order(bench: Bench) -> Procedure:
    """A tone of its own on every track: each return must carry its own.

    With one output for all nothing differs; there `check_order_by_ready` tells.
    """
    if bench.cables.mult is not None:
        return
    plan = bench.plan
    tones = tuple(700.0 + 600.0 * t for t in range(plan.tracks))
    before = bench.signal
    bench.signal = PerTrack(tuple(Tone(f, plan.zero_dbfs - 10.0) for f in tones))
    bench.listen(*tones)
    yield from bench.wait(0.6 + bench.return_lag_s)
    power = yield from _heard(bench)
    bench.signal = before
    source = np.argmax(power, axis=0)
    _stop_if_crossed(bench, {int(t): int(source[t]) for t in np.flatnonzero(bench.live)})


def check_order_by_ready(bench: Bench) -> Procedure:
    """One output feeds all inputs: each return must be that of the tracks that are made ready.

    The tracks that are cabled are numbered; for each binary digit those that have it are recorded,
    so that three recordings tell seven tracks apart.
    """
    live = [int(t) for t in np.flatnonzero(bench.live)]
    heard = np.zeros(len(live), int)
    for digit in range(len(live).bit_length()):
        ready = [t + 1 for k, t in enumerate(live, 1) if k >> digit & 1]
        named = ", ".join(str(t) for t in ready)
        yield from bench.ask(
            "transport",
            f"record on {named} alone, listen to the reproduce head",
            state="record",
            ready=ready,
            monitor="reproduce",
        )
        bench.send((PROBE_HZ, 0.0))
        yield from bench.wait(0.6 + bench.round_trip_s + bench.plan.head_delay_s)
        power = (yield from _heard(bench))[0, live]
        heard |= (10.0 * np.log10(power) > THERE_DB).astype(int) << digit
        bench.silence()
    for at in np.flatnonzero((heard == 0) | (heard > len(live))):
        bench.note(f"the return of track {live[at] + 1} is not sure: it did not record as asked")
    _stop_if_crossed(
        bench,
        {t: live[heard[at] - 1] for at, t in enumerate(live) if 0 < heard[at] <= len(live)},
    )


def _heard(bench: Bench) -> Generator[None, Point, F64]:
    """Mean power (tones, tracks) over four points, 1 = 0 VU; next to nothing where invalid.

    A point with lost frames is none: it holds no tone of any track.
    """
    powers = []
    for _ in range(4):
        point = yield from bench.whole_point()
        powers.append(10.0 ** (np.nan_to_num(point.level_db, nan=-99.0) / 10.0))
    return np.asarray(np.mean(powers, axis=0))


def _stop_if_crossed(bench: Bench, source: Mapping[int, int]) -> None:
    """`Stop` if a return carries the tone of another track (both from 0)."""
    wrong = [(t, other) for t, other in source.items() if other != t]
    if wrong:
        said = ", ".join(f"return {t + 1} carries track {other + 1}" for t, other in wrong)
        bench.note(f"crossed: {said}")
        raise Stop(f"tracks are crossed: {said}; put the cables right and begin again")


def onset_s(bench: Bench) -> Procedure:
    """Send 1 kHz and time its arrival on the loudest returns; NaN if none comes in 2 s.

    Where frames were lost meanwhile nothing is known of either, and it is sent again.
    """
    bench.send((PROBE_HZ, 0.0))
    sent = bench.time_s
    while bench.time_s - sent < 2.0:
        point = yield
        if point.lost:
            bench.silence()
            yield from bench.wait(AGAIN_S)
            bench.send((PROBE_HZ, 0.0))
            sent = bench.time_s
            continue
        track_power = np.percentile(
            (np.abs(point.envelope[:, 0]) ** 2)[:, bench.live], 90.0, axis=1
        )
        over = track_power > 10.0 ** ((bench.plan.zero_dbfs - 12.0) / 10.0)
        if over.any():
            return bench.time_s - sent - (len(over) - int(np.argmax(over))) * 0.001
    return float("nan")


def check_head_delay(bench: Bench, onset_s: float) -> None:
    """`Stop` if a tone came back too soon to have been on the tape."""
    if onset_s - bench.round_trip_s < 0.5 * bench.plan.head_delay_s:
        raise Stop(
            "the return has no head delay: the deck's monitor stands on input, not on the tape"
        )
