"""One trimmer per track, one track after another, until each reads its target."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._follow import Follower
from fluxbench.lineup._places import HAND_S, Places
from fluxbench.lineup._point import Point
from fluxbench.lineup._readings import Readings
from fluxbench.lineup._view import BACK, WAS_PUT_BACK, Advice, Board, Verdict, move_db, wait_ratio
from fluxbench.trade import LevelTolerance

AIM = 0.95
"""The hand is stopped within this part of the hold band, lest readings end at its edge."""
LEAST_S, LONGEST_S = 1.5, 8.0
"""A mean is read for at least, and at most, so long."""
GLANCE_S = 0.3
"""Long enough to see where a turn over a long way has led."""
GONE_BY_S = 0.1
"""A little of the window may still be from before a turn: readings see that they moved."""
SEEMS_POINTS = 6
"""So many points that agree let the hand go on; the track is judged when its window is full."""
AGAIN = 1.4
"""A track that ends further off than this many hold bands is offered again."""


@dataclass(frozen=True, slots=True)
class Job:
    """What one round of trimming is about."""

    trimmer: str
    band: LevelTolerance
    window_s: float
    read: Callable[[Point], F64]
    """What a point reads (tracks,), to be compared with the target."""
    memory_s: float = 0.0
    """How far back `read` looks."""


def adjust(bench: Bench, job: Job, target_db: F64) -> Procedure:
    """Bring every live track to its target (tracks,); offer again what was disturbed meanwhile.

    Gives the levels as left (tracks,).
    """
    return (yield from bench.step(f"adjust {job.trimmer}", _adjust(bench, job, target_db)))


def _adjust(bench: Bench, job: Job, target_db: F64) -> Procedure:
    round_of = Round(bench, job, target_db)
    yield from round_of.look(job.window_s + job.memory_s + 0.2)
    found = round_of.readings.mean()
    if not bench.steps.parts("as found"):
        bench.write("as found", trimmer=job.trimmer, reading_db=found, target_db=target_db)
        bench.steps.keep_part("as found", found)
    round_of.origin_db = bench.way_back.origin(job.trimmer, bench.steps.parts("as found")[0])
    usable = bench.live & np.isfinite(found)
    for t in np.flatnonzero(bench.live & ~usable):
        bench.note_of(job.trimmer, int(t), "has no reading; it is left as it is")
    due = usable & (np.abs(target_db - found) > job.band.hold_db)
    for _ in range(4):
        if not due.any():
            break
        yield from round_of.trim(due)
        bench.advise(None)
        yield from round_of.look(max(job.window_s, LEAST_S) + 0.5)
        late = round_of.moved_since_taken()
        off = np.abs(round_of.target_db() - round_of.readings.mean())
        due = usable & ~round_of.stuck & (off > AGAIN * job.band.hold_db)
        due |= usable & late & (off > job.band.hold_db)
    left = round_of.readings.mean()
    bench.way_back.turned(job.trimmer, bench.steps.parts("as found")[0], left)
    errors = [round_of.readings.error(t) for t in range(bench.plan.tracks)]
    bench.write(
        "as left", trimmer=job.trimmer, reading_db=left, error_db=errors, target_db=target_db
    )
    return left


class Round:
    """A walk along the tracks that are due.

    The focus goes to the next one that is due, or to the one that a hand is seen turning.
    """

    def __init__(self, bench: Bench, job: Job, target_db: F64) -> None:
        tracks = bench.plan.tracks
        self._bench, self._job, self._target_db = bench, job, target_db
        self.readings = Readings(tracks, job.window_s, LONGEST_S)
        self.origin_db = np.full(tracks, np.nan)
        """What each track reads where its trimmer was found (tracks,)."""
        self._follower = Follower(tracks)
        self.stuck = np.zeros(tracks, bool)
        self._recent: list[F64] = []
        self._focus = 0
        self._hand: int | None = None
        self._places: dict[int, Places] = {}
        """By track: where its trimmer has stood, since it may move in steps."""
        self._held_points = 0
        """So long the trimmer in hand has been told to stay on its nearest step."""
        self._taken_db: dict[int, float] = {}
        """By track: its reading as it was taken last."""
        self._unsure: set[int] = set()
        """Tracks that seemed to be in when the hand went on, and are not judged yet."""
        self._lag_s = bench.return_lag_s + GONE_BY_S + job.memory_s

    def look(self, seconds: float) -> Procedure:
        """Only read for a while."""
        for _ in range(round(seconds * 10)):
            point = yield from self._bench.point()
            self._read(point)

    def trim(self, due: np.ndarray) -> Procedure:
        """Go on until no track is due (tracks,) and all that were are judged."""
        total = int(due.sum())
        self._go(int(np.flatnonzero(due)[0]))
        while due.any() or self._unsure:
            point = yield from self._bench.point()
            self._turn_to(due, self._read(point))
            due &= self._bench.live
            self._unsure -= set(np.flatnonzero(~self._bench.live).tolist())
            for track in sorted(self._unsure):
                self._judge(track, due)
            here = self._focus
            passed = self._bench.passed_over(self._job.trimmer, here + 1)
            if due[here] and (passed or self._is_in(here) or self._stands_nearest(here)):
                self._leave(here)
                due[here] = False
            elif due[here] and self._seems_in(here):
                self._unsure.add(here)
                self._follower.forget(here)
                due[here] = False
            if due[here] or not due.any():
                self._bench.advise(self._advice(self._off_db(here)), total - int(due.sum()), total)
            else:
                rest = np.flatnonzero(due)
                later = rest[rest > here]
                self._go(int(later[0] if len(later) else rest[0]))
        self._hand = None

    def _turn_to(self, due: np.ndarray, hand: int | None) -> None:
        """Go to the track that the person wants, or is seen turning."""
        wanted, self._bench.wanted = self._bench.wanted, None
        track, by = (hand, "hand") if wanted is None else (wanted, "person")
        if track is None or not self._bench.live[track] or (by, track) == ("hand", self._focus):
            return
        due[track] = True
        self._unsure.discard(track)
        self._go(track, by)

    def _judge(self, track: int, due: np.ndarray) -> None:
        """Whether a track that seemed to be in is; if not, it is due again."""
        within = abs(self._off_db(track)) <= self._job.band.hold_db
        if self._is_in(track):
            self._unsure.discard(track)
            self._leave(track)
        elif self.readings.steady()[track] and not within:
            self._unsure.discard(track)
            due[track] = True

    def _read(self, point: Point) -> int | None:
        """Take a point; the track that a hand is seen turning, if any."""
        now = self._job.read(point)
        self.readings.add(now, self._hand)
        self._recent.append(now)
        self._show()
        if len(self._recent) < 3:
            return None
        window = np.mean(self._recent, axis=0)
        self._recent.clear()
        return self._follower.see(window)

    def _go(self, track: int, by: str = "bench") -> None:
        self._focus = self._hand = track
        self._held_points = 0
        self._bench.write("focus", trimmer=self._job.trimmer, track=track + 1, by=by)

    def _show(self) -> None:
        job, readings = self._job, self.readings
        self._bench.board = Board(
            job.trimmer, "dB", readings.mean(), self.target_db(), readings.errors(),
            job.band.hold_db, job.band.set_db,
        )  # fmt: skip

    def _goes_back(self, track: int) -> bool:
        return self._bench.steps.goes_back(self._job.trimmer, track + 1)

    def target_db(self) -> F64:
        """Where each track is to go (tracks,): where it was found, if the person wants it back."""
        back = [self._goes_back(track) for track in range(len(self._target_db))]
        return np.where(back, self.origin_db, self._target_db)

    def _off_db(self, track: int) -> float:
        target_db = (self.origin_db if self._goes_back(track) else self._target_db)[track]
        return float(target_db - self.readings.mean()[track])

    def _is_in(self, track: int) -> bool:
        hold, off_db = self._job.band.hold_db, self._off_db(track)
        age = int(self.readings.age_points()[track])
        if not self.readings.steady()[track] or self.readings.jumped(hold)[track]:
            return False
        if age >= 10 * LONGEST_S:
            return abs(off_db) <= hold
        return abs(off_db) <= AIM * hold and self.readings.error(track) < 0.3 * hold

    def _stands_nearest(self, track: int) -> bool:
        """Whether the trimmer has shown that it moves in steps, and stands on the nearest one."""
        off_db = self._off_db(track)
        places = self._places.setdefault(track, Places())
        jumped = self.readings.jumped(self._job.band.hold_db)[track]
        if not self.readings.steady()[track] or jumped or not np.isfinite(off_db):
            self._held_points = 0
            places.leave()
            return False
        places.see(off_db)
        nearest = places.nearest(off_db, 2.0 * AIM * self._job.band.hold_db)
        self._held_points = self._held_points + 1 if nearest else 0
        return self._held_points > 10.0 * (self._lag_s + self._job.window_s + HAND_S)

    def _seems_in(self, track: int) -> bool:
        """Whether what is read so far says so, if not yet for sure."""
        hold, points = self._job.band.hold_db, self.readings.age_points()[track]
        seen = points >= SEEMS_POINTS and self.readings.errors()[track] < 0.6 * hold
        still = abs(self.readings.change_db(SEEMS_POINTS // 2)[track]) < AIM * hold
        return bool(seen and still and abs(self._off_db(track)) <= AIM * hold)

    def _leave(self, track: int) -> None:
        off, trimmer = self._off_db(track), self._job.trimmer
        step_db = self._step_db(track, off)
        if step_db is not None:
            left = f"the nearest is taken, {off:+.2f} dB are left"
            self._bench.note_of(trimmer, track, f"moves in steps of about {step_db:.2f} dB: {left}")
            self.stuck[track] = True
        if abs(off) <= self._job.band.hold_db or step_db is not None:
            if self._goes_back(track):
                self._bench.note_of(trimmer, track, WAS_PUT_BACK)
            self._take(track)
        else:
            self.stuck[track] = True
            left = f"{off:+.2f} dB are left" if np.isfinite(off) else "there is no reading"
            self._bench.note_of(trimmer, track, f"is not in: {left}")
        self._follower.forget(track)

    def _take(self, track: int) -> None:
        reading_db, error_db = self.readings.mean()[track], self.readings.error(track)
        self._taken_db[track] = float(reading_db)
        self._bench.write(
            "taken",
            trimmer=self._job.trimmer,
            track=track + 1,
            reading_db=reading_db,
            error_db=error_db,
        )

    def moved_since_taken(self) -> np.ndarray:
        """Tracks (tracks,) whose last turn came after they were taken; within hold, taken anew."""
        hold_db = self._job.band.hold_db
        now_db = self.readings.mean()
        moved = np.zeros(len(now_db), bool)
        for track, taken_db in self._taken_db.items():
            moved[track] = self._bench.live[track] and abs(now_db[track] - taken_db) > hold_db
            if moved[track] and abs(self._off_db(track)) <= hold_db:
                self._take(track)
        return moved

    def _step_db(self, track: int, off_db: float) -> float | None:
        """The step of a trimmer that stands on its nearest one outside the hold band."""
        places = self._places.get(track)
        if places is None or abs(off_db) <= self._job.band.hold_db:
            return None
        return places.step_db if places.nearest(off_db, 0.0) else None

    def _advice(self, off: float) -> Advice:
        job, track = self._job, self._focus + 1
        name = f"{job.trimmer.replace('_', ' ')} {track}"
        if not np.isfinite(off):
            return Advice(
                job.trimmer, track, Verdict.NO_READING, 0, None, "dB", np.inf, job.window_s,
                f"{name}: no reading",
            )  # fmt: skip
        way, word = move_db(off, AIM * job.band.hold_db)
        if way and self._held_points:
            way, word = 0, "hold, it is the nearest step"
        verdict = Verdict.of(off, job.band.set_db)
        error, back = self.readings.error(self._focus), self._goes_back(self._focus)
        moved_db = float((self.readings.mean() - self.origin_db)[self._focus])
        return Advice(
            job.trimmer, track, verdict, way, off, "dB", error, self._wait_s(off),
            f"{name}: {word}{BACK * back}", from_found_db=moved_db, goes_back=back,
        )  # fmt: skip

    def _wait_s(self, off: float) -> float:
        """How long to wait after a turn before believing what is read."""
        needed_s = self._job.window_s * wait_ratio(off, self._job.band.hold_db)
        return self._lag_s + max(GLANCE_S, needed_s)
