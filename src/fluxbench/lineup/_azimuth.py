"""Azimuth of a stack: phase from each track to its neighbour, a line across them, one trimmer."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._places import HAND_S
from fluxbench.lineup._point import Point
from fluxbench.lineup._slope import angle_weights, crossed, slope_arcmin
from fluxbench.lineup._turned import spread_of_seconds, turned_at
from fluxbench.lineup._view import BACK, WAS_PUT_BACK, Advice, AzimuthLine, Verdict
from fluxbench.trade import azimuth_from_delay_arcmin, delay_us

LEAST_S = 5.0
MOST_S = 10.0
GLANCE_S, PROOF_S = 3.0, 10.0
"""Proved for so long where it is set roughly, and where it is set for good on the reproduce head:
the record head is set by that."""
ROUGH, NEARLY, FINE = 1.0, 0.4, 0.13
"""The hand is stopped within this part of the set band; fine once, where it counts."""
SILENT_DB = 30.0
"""A track that lies so far below the middle one gives noise."""
BEGINS_POINTS = 2
"""A turn may have begun so long before it is noticed."""
WITHIN_A_SECOND = 0.1
"""Arc-minutes by which an angle may waver within a second (from memory)."""
AS_FOUND_ARCMIN = 10.0
"""A head may stand so far off as found."""
UNREADABLE_POINTS = 30
"""A track that cannot be read for so long is left out."""


def angle_shows(bench: Bench, trimmer: str) -> bool:
    """Whether two tracks are there to read an angle from; says so if not."""
    if bench.live.sum() >= 2:
        return True
    bench.note(
        f"{trimmer.replace('_', ' ')} is not set: an angle takes two tracks to read;"
        " set it by the greatest short-wave output and begin again"
    )
    return False


def rough_hold_ratio(bench: Bench, frequency_hz: float) -> float | None:
    """Within what part of the set band an angle is to be held by a long wave first, if it must be.

    Where live neighbours stand so far apart that this frequency may turn by more than half a turn
    between them, the long wave has to bring it to less than a quarter.
    """
    apart_mm = float(np.diff(bench.plan.positions_mm[bench.live]).max())
    wave_us = 1e6 / frequency_hz
    if float(delay_us(AS_FOUND_ARCMIN, apart_mm, bench.plan.speed_ips)) < 0.45 * wave_us:
        return None
    held = float(azimuth_from_delay_arcmin(0.2 * wave_us, apart_mm, bench.plan.speed_ips))
    return held / bench.plan.azimuth_tolerance_arcmin


class Angle:
    """The angle of a stack since somebody last turned it, point by point."""

    def __init__(self, bench: Bench, frequency_hz: float, set_band_arcmin: float) -> None:
        self._bench, self._frequency_hz, self._set_band = bench, frequency_hz, set_band_arcmin
        self._unread = np.zeros(bench.plan.tracks, int)
        self._clear()

    def _clear(self) -> None:
        self._past: list[F64] = []
        self._angles: list[float] = []
        self._begin = 0
        self._as_it_was: int | None = None

    @property
    def known(self) -> bool:
        return bool(self._past)

    @property
    def since_turned(self) -> int:
        """Points since the stack was last turned."""
        return len(self._angles) - self._begin

    @property
    def _first(self) -> int:
        return max(self._begin, len(self._angles) - round(MOST_S * 10))

    @property
    def seconds(self) -> float:
        return (len(self._angles) - self._first) / 10

    def take(self, point: Point) -> bool:
        """Take a point; whether it could be read. Tracks that cannot be are left out in the end."""
        bench = self._bench
        level = np.nan_to_num(point.level_db[0], nan=-200.0)
        there = level > np.median(level[bench.live]) - SILENT_DB
        self._unread = np.where(there, 0, self._unread + 1)
        for t in np.flatnonzero(bench.live & (self._unread >= UNREADABLE_POINTS)):
            bench.leave_out(int(t), "gives no tone, or clips")
            self._clear()
        if (self._unread[bench.live] > 0).any() or bench.live.sum() < 2:
            return False
        self._past.append(crossed(bench, point))
        self._angles.append(slope_arcmin(bench, self._past[-1], self._frequency_hz)[0])
        self._notice_turn()
        if self._as_it_was is None and self._begin:
            self._as_it_was = max(1, self._begin - BEGINS_POINTS)
        return True

    def _notice_turn(self) -> None:
        n = len(self._angles)
        block = np.array(self._angles[self._begin :])
        if len(block) >= 12:
            old, new = block[:-5], block[-5:]
            spread = max(float(np.std(old)), 0.02)
            if abs(new.mean() - old.mean()) > max(2.2 * spread, 0.4 * self._set_band):
                self._begin = n - 4
                block = np.array(self._angles[self._begin :])
        spread = spread_of_seconds(np.array(self._angles))
        at = turned_at(block, spread, 0.1 * self._set_band)
        if at is not None:
            self._begin += at

    def count_last(self, points: int) -> None:
        """Let no more than the last points count."""
        self._begin = max(self._begin, len(self._angles) - points)

    def found(self) -> tuple[float, float] | None:
        """Angle before anybody turned, and its standard error; None while it is still read.

        A hand that begins at once leaves little to read: the error says so.
        """
        if self._as_it_was is None and self.seconds < LEAST_S:
            return None
        angles = np.array(self._angles[: self._as_it_was])
        cross = np.sum(self._past[: len(angles)], axis=0)
        angle, _ = slope_arcmin(self._bench, cross, self._frequency_hz)
        error = _error(angles)
        return angle, error if np.isfinite(error) else float(max(np.std(angles), WITHIN_A_SECOND))

    def read(self) -> tuple[float, F64, float]:
        """Angle in arc-minutes, what each live track lies off the line in us, standard error.

        The error has no bound where too few tracks tell an angle.
        """
        cross = np.sum(self._past[self._first :], axis=0)
        angle, scatter = slope_arcmin(self._bench, cross, self._frequency_hz)
        if angle_weights(self._bench) is None:
            return angle, scatter, float("inf")
        return angle, scatter, _error(np.array(self._angles[self._first :]))


class Proof:
    """That a stack stays where it was put: read from when the hand was off, told to stay.

    A small turn among the points before may not have been noticed.
    """

    def __init__(self, stack: Angle, shown_lag_s: float, proof_s: float) -> None:
        self._stack, self._hand_points = stack, round(10.0 * (shown_lag_s + HAND_S))
        self._proof_s = proof_s
        self._stays = 0
        self._proving = self.given = False

    def way(self, way: int, enough: bool) -> int:
        """Which way to show, of the one that the reading says and whether it is a sure one."""
        if self._proving and not (enough and self._stack.seconds >= self._proof_s - 0.2):
            return 0
        if self._proving:
            self._proving, self.given = False, way == 0
            self._stays = 0
        else:
            self._stays = self._stays + 1 if way == 0 else 0
        if enough and self._stays > self._hand_points:
            self._stack.count_last(self._stays - self._hand_points)
            self._proving = True
        return way


def azimuth(
    bench: Bench,
    trimmer: str,
    target_arcmin: float,
    held_ratio: float = FINE,
    proof_s: float = LEAST_S,
) -> Procedure:
    """Turn one stack trimmer until the stack stands at the target angle; gives what was left.

    It is held within that ratio of the set band, and read anew for so long in the end.
    """
    turning = _azimuth(bench, trimmer, target_arcmin, held_ratio, proof_s)
    return (yield from bench.step(f"turn {trimmer}", turning))


def read_azimuth(bench: Bench, trimmer: str) -> Procedure:
    """Read the angle of a stack that has no trimmer; gives it in arc-minutes."""
    return (yield from bench.step(f"read {trimmer}", _read_azimuth(bench, trimmer)))


def _read_azimuth(bench: Bench, trimmer: str) -> Procedure:
    stack = Angle(bench, bench.tones[0], bench.plan.azimuth_tolerance_arcmin)
    while stack.seconds < MOST_S - 0.2:
        stack.take((yield from bench.point()))
        if not angle_shows(bench, trimmer):
            return 0.0
    angle, scatter, error = stack.read()
    bench.write("as left", trimmer=trimmer, arcmin=angle, error_arcmin=error, scatter_us=scatter)
    return angle


def _azimuth(
    bench: Bench, trimmer: str, target_arcmin: float, held_ratio: float, proof_s: float
) -> Procedure:
    set_band = bench.plan.azimuth_tolerance_arcmin
    hold = held_ratio * set_band
    lag_s = bench.shown_lag_s
    stack = Angle(bench, bench.tones[0], set_band)
    name = trimmer.replace("_", " ")
    proof = Proof(stack, lag_s, proof_s)
    origin: float | None = None
    while angle_shows(bench, trimmer):
        if bench.passed_over(trimmer, None):
            bench.note(f"{name} is not in: it was passed over")
            break
        point = yield from bench.point()
        if not stack.take(point):
            continue
        angle, scatter, error = stack.read()
        seconds = stack.seconds
        if origin is None and (found := stack.found()) is not None:
            if not bench.steps.parts("as found"):
                bench.write("as found", trimmer=trimmer, arcmin=found[0], error_arcmin=found[1])
                bench.steps.keep_part("as found", found[0])
            origin = float(bench.way_back.origin(trimmer, bench.steps.parts("as found")[0]))
        back = origin is not None and bench.steps.goes_back(trimmer, None)
        aim_arcmin = origin if back and origin is not None else target_arcmin
        off = aim_arcmin - angle
        bench.line = _line(bench, trimmer, angle, scatter, error, aim_arcmin)
        enough = seconds >= LEAST_S and (error < 0.6 * hold or seconds >= MOST_S - 0.2)
        way = 0 if abs(off) <= hold else (1 if off > 0 else -1)
        way = proof.way(way, enough)
        if proof.given:
            break
        need_s = LEAST_S if error < 0.6 * abs(off) else max(LEAST_S, min(MOST_S, seconds + 2.0))
        word = "hold" if way == 0 else f"{abs(off):.2f} arc-minutes to go"
        wait_s = lag_s + (need_s if abs(off) < 2 * set_band else 1.5)
        shown = off if stack.since_turned >= 10 else None
        verdict, words = Verdict.of(off, set_band), f"{name}: {word}{BACK * back}"
        moved = None if origin is None else angle - origin
        advice = Advice(trimmer, None, verdict, way, shown, "arcmin", error, wait_s, words,
                        from_found_arcmin=moved, goes_back=back)  # fmt: skip
        bench.advise(advice, 0, 1)
    bench.advise(None)
    if not stack.known:
        return 0.0
    angle, scatter, error = stack.read()
    if bench.steps.goes_back(trimmer, None):
        bench.note(f"{name} {WAS_PUT_BACK}")
    if bench.steps.parts("as found"):
        bench.way_back.turned(trimmer, bench.steps.parts("as found")[0], angle)
    bench.write("as left", trimmer=trimmer, arcmin=angle, error_arcmin=error, scatter_us=scatter)
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


def _error(angles: F64) -> float:
    """Standard error of a mean from blocks of a second."""
    blocks = len(angles) // 10
    if blocks < 2:
        return float("inf")
    means = angles[: blocks * 10].reshape(blocks, 10).mean(axis=1)
    return float(means.std(ddof=1) / np.sqrt(blocks))
