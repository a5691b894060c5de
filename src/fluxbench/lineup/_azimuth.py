"""Azimuth of a stack: phase from each track to its neighbour, a line across them, one trimmer."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import Point
from fluxbench.lineup._view import Advice, AzimuthLine, Verdict
from fluxbench.trade import azimuth_from_delay_arcmin, delay_us

LEAST_S = 5.0
MOST_S = 20.0
ROUGH, FINE = 0.5, 0.15
"""The hand is stopped within this part of the set band; fine once, where it counts."""


def slope_arcmin(bench: Bench, cross: F64, frequency_hz: float) -> tuple[float, F64]:
    """Angle of the line through the delays of all live tracks, and what is left over (us).

    `cross` is the mean of a_i conj(a_j) of each live track i with the next live one j, complex.
    Positive: later tracks (higher numbers) come later.
    """
    live = np.flatnonzero(bench.live)
    position = bench.plan.positions_mm[live]
    lag = np.concatenate([[0.0], np.cumsum(np.angle(cross))]) / (2 * np.pi * frequency_hz)
    slope, offset = np.polyfit(position, lag, 1)
    arcmin = float(azimuth_from_delay_arcmin(1e6 * slope, 1.0, bench.plan.speed_ips))
    return arcmin, 1e6 * (lag - (slope * position + offset))


def crossed(bench: Bench, point: Point) -> F64:
    """Mean of a_i conj(a_j) over one point, for neighbouring live tracks."""
    e = point.envelope[:, 0, bench.live]
    return np.asarray((e[:, :-1] * e[:, 1:].conj()).mean(axis=0))


def azimuth(
    bench: Bench, trimmer: str, target_arcmin: float, held_ratio: float = FINE
) -> Procedure:
    """Turn one stack trimmer until the stack stands at the target angle; gives what was left.

    It is held within that ratio of the set band.
    """
    turning = _azimuth(bench, trimmer, target_arcmin, held_ratio)
    return (yield from bench.step(f"turn {trimmer}", turning))


def _azimuth(bench: Bench, trimmer: str, target_arcmin: float, held_ratio: float) -> Procedure:
    frequency_hz = bench.tones[0]
    set_band = bench.plan.azimuth_tolerance_arcmin
    hold = held_ratio * set_band
    lag_s = bench.return_lag_s + 0.2
    past: list[F64] = []
    angles: list[float] = []
    begin, started, since = 0, False, bench.time_s
    while bench.time_s - since < 300.0:
        point = yield from bench.point()
        if np.isnan(point.level_db[0, bench.live]).any():
            continue
        past.append(crossed(bench, point))
        angles.append(slope_arcmin(bench, past[-1], frequency_hz)[0])
        n = len(angles)
        block = np.array(angles[begin:])
        if len(block) >= 12:
            old, new = block[:-5], block[-5:]
            spread = max(float(np.std(old)), 0.02)
            if abs(new.mean() - old.mean()) > max(2.2 * spread, 0.4 * set_band):
                begin = n - 4
                block = np.array(angles[begin:])
        if len(block) >= 80 and _differ(block[-50:], block[:-50], 0.1 * set_band):
            begin = n - 50
            block = block[-50:]
        first = max(begin, n - round(MOST_S * 10))
        angle, scatter = slope_arcmin(bench, np.sum(past[first:], axis=0), frequency_hz)
        seconds = (n - first) / 10
        error = _error(np.array(angles[first:]))
        off = target_arcmin - angle
        bench.line = _line(bench, trimmer, angle, scatter, error, target_arcmin)
        if not started and seconds >= LEAST_S:
            started = True
            if not bench.steps.parts("as found"):
                bench.write("as found", trimmer=trimmer, arcmin=angle, error_arcmin=error)
                bench.steps.keep_part("as found", angle)
        enough = seconds >= LEAST_S and (error < 0.6 * hold or seconds >= MOST_S - 0.2)
        if abs(off) <= hold and enough:
            break
        verdict = Verdict.of(off, set_band)
        way = 0 if abs(off) <= hold else (1 if off > 0 else -1)
        need_s = LEAST_S if error < 0.6 * abs(off) else max(LEAST_S, min(MOST_S, seconds + 2.0))
        name = trimmer.replace("_", " ")
        word = "hold" if way == 0 else f"{abs(off):.2f} arc-minutes to go"
        wait_s = lag_s + (need_s if abs(off) < 2 * set_band else 1.5)
        shown = off if len(block) >= 10 else None
        words = f"{name}: {word}"
        bench.advise(
            Advice(trimmer, None, verdict, way, shown, "arcmin", error, wait_s, words), 0, 1
        )
    else:
        bench.note(f"{trimmer} could not be brought in")
    angle, scatter = slope_arcmin(
        bench, np.sum(past[max(begin, len(past) - round(MOST_S * 10)) :], axis=0), frequency_hz
    )
    bench.write("as left", trimmer=trimmer, arcmin=angle, scatter_us=scatter)
    bench.advise(None)
    return angle


def _line(
    bench: Bench,
    trimmer: str,
    arcmin: float,
    scatter_us: F64,
    error_arcmin: float,
    target_arcmin: float,
) -> AzimuthLine:
    position = bench.plan.positions_mm[bench.live]
    line_us = delay_us(arcmin, position, bench.plan.speed_ips)
    line_us = line_us - line_us[0] - scatter_us[0]
    return AzimuthLine(
        trimmer, bench.tones[0], position, line_us + scatter_us, line_us,
        arcmin, error_arcmin, target_arcmin,
    )  # fmt: skip


def _differ(recent: F64, older: F64, least_arcmin: float) -> bool:
    """Whether the stack was turned a little between two stretches of readings."""
    error = np.hypot(_error(recent), _error(older))
    away = abs(float(recent.mean() - older.mean()))
    return bool(np.isfinite(error)) and away > max(2.0 * error, least_arcmin)


def _error(angles: F64) -> float:
    """Standard error of a mean from blocks of a second."""
    blocks = len(angles) // 10
    if blocks < 2:
        return float("inf")
    means = angles[: blocks * 10].reshape(blocks, 10).mean(axis=1)
    return float(means.std(ddof=1) / np.sqrt(blocks))
