"""The line-up as it runs: points of 0.1 s in, asks and advice out, what is taken in a journal."""

from collections.abc import Generator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._view import Advice, Ask, View
from fluxbench.measure import HOP_S, Hop
from fluxbench.signals import Signal, Silence, Tone, Tones

F64 = NDArray[np.float64]
HOPS_PER_POINT = 5
GONE_POINTS = 6
"""A tone that is away for so long has ended."""
WINDING_POINTS = 400
"""How long a tape may take to wind before the tone is asked for again."""
LOW_HZ = 600.0
"""Below, a tone's level is that of its mean envelope over a point: its image falls out."""


class Point:
    """0.1 s of all tracks: level (tones, tracks) in dB re 0 VU, NaN if not valid; envelopes."""

    __slots__ = ("clipped", "envelope", "level_db", "lost", "share", "time_s")

    def __init__(self, hops: list[Hop], zero_dbfs: float) -> None:
        levels = np.array([hop.level_dbfs() for hop in hops]) - zero_dbfs
        middle = np.median(levels, axis=0)
        kept = np.where(levels >= middle - 1.0, levels, np.nan)
        self.level_db: F64 = np.nanmean(kept, axis=0)
        self.lost = any(hop.lost for hop in hops)
        self.clipped = np.max([hop.peak for hop in hops], axis=0) >= 0.999
        self.envelope = np.concatenate([hop.envelope for hop in hops])
        power = np.mean([hop.power for hop in hops], axis=0)
        low = [i for i, f in enumerate(hops[0].frequencies_hz) if 0.0 < f < LOW_HZ]
        if low:
            power[low] = np.abs(self.envelope[:, low].mean(axis=0)) ** 2
            self.level_db[low] = 10.0 * np.log10(np.maximum(power[low], 1e-20)) - zero_dbfs
        total = np.mean([hop.total_power for hop in hops], axis=0)
        self.share: F64 = power / np.maximum(total, 1e-20)
        if self.lost:
            self.level_db[:] = np.nan
        self.level_db[:, self.clipped] = np.nan
        self.time_s = (hops[-1].first_frame + hops[-1].frames) / hops[-1].frames * HOP_S


Procedure = Generator[None, Point, Any]


class Stop(Exception):  # noqa: N818 - not an error: the line-up ends here, with a reason
    """The line-up cannot go on; the reason is for the person."""


class Bench:
    """What all stages share: the plan, what is sent and listened to, asks, notes, journal."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.signal: Signal = Silence()
        self.tones: tuple[float, ...] = (1000.0,)
        self.journal: list[dict[str, Any]] = []
        self.view = View("plan", 0.0)
        self.live = np.ones(plan.tracks, bool)
        self.round_trip_s = 0.0
        self.time_s = 0.0
        self.azimuth_left_arcmin = 0.0
        self.source: tuple[str, Section | None] = ("none", None)
        self._asks = 0
        self._answered = False
        self._held: Point | None = None
        self._there = 0
        self._missing, self._patience = 0, WINDING_POINTS

    # -- saying ------------------------------------------------------------------------------

    def write(self, what: str, **facts: Any) -> None:
        """Put a fact into the journal (rounded: the journal is compared byte for byte)."""
        self.journal.append({"t": round(self.time_s, 2), "what": what, **_rounded(facts)})

    def note(self, text: str) -> None:
        """Say something that stays on the screen and in the journal, once."""
        if text not in self.view.notes:
            self.view = replace(self.view, notes=(*self.view.notes, text))
            self.write("note", text=text)

    def stage(self, name: str) -> None:
        self.view = replace(self.view, stage=name, ask=None, advice=None, done=0, due=0)
        self.write("stage", name=name)

    def advise(self, advice: Advice | None, done: int = 0, due: int = 0) -> None:
        self.view = replace(self.view, advice=advice, done=done, due=due)

    def send(self, *tones: tuple[float, float]) -> None:
        """Send tones (frequency in Hz, level in dB re 0 VU) on all tracks and listen to them."""
        dbfs = tuple(Tone(f, level + self.plan.zero_dbfs) for f, level in tones)
        self.signal = Silence() if not dbfs else dbfs[0] if len(dbfs) == 1 else Tones(dbfs)
        if tones:
            self.listen(*(f for f, _ in tones))

    def silence(self) -> None:
        self.signal = Silence()

    def listen(self, *frequencies_hz: float) -> None:
        self.tones = tuple(frequencies_hz)
        self._held = None

    def acknowledge(self, number: int) -> None:
        """The person has done what was asked."""
        if self.view.ask is not None and self.view.ask.number == number:
            self._answered = True

    @property
    def return_lag_s(self) -> float:
        """From a change of what is sent, or of a record trimmer, to its return."""
        tape_s = self.plan.head_delay_s if self.source[0] == "record" else 0.0
        return self.round_trip_s + tape_s

    # -- procedures: generators that are sent one point at a time ------------------------------

    def ask(self, kind: str, text: str, **values: Any) -> Procedure:
        """Ask for something and wait until it is done."""
        self._asks += 1
        self._answered = False
        before = self.view.advice
        self.view = replace(self.view, ask=Ask(self._asks, kind, text, values), advice=None)
        while not self._answered:
            yield
        self.view = replace(self.view, ask=None, advice=before)
        self._held = None

    def wait(self, seconds: float) -> Procedure:
        """Let time pass."""
        end = self.time_s + seconds
        while self.time_s < end:
            yield

    def settle(self) -> Procedure:
        """Wait until what is sent now has come back and filled the filters."""
        yield from self.wait(self.return_lag_s + 0.4)
        self._held = None

    def point(self) -> Generator[None, Point, Point]:
        """The next point at which the first tone is there; asks for the tape again if it is gone.

        A point is given out only when three before it and the one after it are good too: a tape
        gathers speed, and the last point before a section ends is cut short.
        """
        while True:
            point = yield
            if self._present(point):
                self._missing, self._patience = 0, GONE_POINTS
                self._there += 1
                held, self._held = self._held, point
                if held is not None and self._there > 4:
                    return held
                continue
            self._held, self._there = None, 0
            self._missing += 1
            if self._missing >= self._patience:
                yield from self.wind()

    def gather(self, seconds: float) -> Generator[None, Point, list[Point]]:
        """Points over some seconds."""
        points: list[Point] = []
        for _ in range(round(seconds / (HOPS_PER_POINT * HOP_S))):
            points.append((yield from self.point()))
        return points

    def levels(self, seconds: float) -> Generator[None, Point, F64]:
        """Mean level (tones, tracks) over some seconds, dB re 0 VU, NaN where there is none."""
        points = yield from self.gather(seconds)
        stacked = np.array([p.level_db for p in points])
        stacked[np.abs(stacked - np.nanmedian(stacked, axis=0)) > 3.0] = np.nan
        out = np.full(stacked.shape[1:], np.nan)
        seen = np.isfinite(stacked).any(axis=0)
        out[seen] = np.nanmean(stacked[:, seen], axis=0)
        return out

    def play_section(self, section: Section, monitor: str) -> Procedure:
        """Have a section of the calibration tape played and wait for its tone."""
        self.source = ("play", section)
        self.silence()
        self.listen(section.frequency_hz)
        self._monitor = monitor
        yield from self.wind()

    def record_all(self) -> Procedure:
        """Have all tracks recorded on the stock, listened to from the tape."""
        self.source = ("record", None)
        yield from self.ask(
            "transport",
            "record on all tracks, listen to the reproduce head",
            state="record",
            ready=self._ready(),
            monitor="reproduce",
        )

    def wind(self) -> Procedure:
        """Ask for the place on the tape that the stage needs."""
        self._missing, self._patience = 0, WINDING_POINTS
        kind, section = self.source
        if kind == "play" and section is not None:
            yield from self.ask(
                "locate",
                f"find the {section.frequency_hz:g} Hz section",
                section=section.number,
            )
            yield from self.ask("transport", "play", state="play", ready=[], monitor=self._monitor)
        elif kind == "record":
            yield from self.ask("locate", "no return: rewind the stock", position_s=5.0)
            yield from self.record_all()
        yield from self.settle()

    def _ready(self) -> list[int]:
        return [int(t) + 1 for t in np.flatnonzero(self.live)]

    def _present(self, point: Point) -> bool:
        if point.lost or len(point.level_db) != len(self.tones):
            return False
        level = point.level_db[0, self.live]
        return bool(np.percentile(np.nan_to_num(level, nan=-99.0), 90.0) > -50.0) and bool(
            np.percentile(point.share[:, self.live].sum(axis=0), 90.0) > 0.3
        )


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_rounded(v) for v in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 4) if np.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    return value
