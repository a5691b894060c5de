"""A deck in figures, for tests of the procedure alone: no samples, envelopes as a bank reads them.

It is quick, and can be built in any way that `contracts/deck-controls.md` allows: other trimmers,
steps, ends, plates, sheets, reels, winding. It tells what the contract asks for, and no more.
"""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import DeckError
from fluxbench.lineup import LineUp, View, plan_from_state
from fluxbench.measure import HOP_S, Hop
from fluxbench.rehearsal._technician import Technician
from fluxbench.signals import PerTrack, Signal, Tone, Tones
from fluxbench.trade import delay_us, output_db, peak_bias_db
from tests.decks.standing import Course, Stages

PER_TRACK = (
    "reproduce_level", "reproduce_high", "reproduce_low", "bias",
    "record_level", "record_high", "sync_level", "sync_high",
)  # fmt: skip
PER_STACK = ("reproduce_azimuth", "record_azimuth")
ALL = (*PER_TRACK, *PER_STACK)
DB_PER_TURN, SECONDS_PER_TURN = 1.2, 1.3
ZERO_DBFS = -16.0
RIGHT_BEYOND_PEAK_DB = 2.5
POINTS = 20

F64 = NDArray[np.float64]
Waves = tuple[tuple[tuple[float, float], ...], ...]
"""Of each track: (frequency in Hz, level in dB re 0 VU) of what it carries."""


def sections(*rows: tuple[float, float, float]) -> list[dict[str, float]]:
    """A section list of (frequency in Hz, level in dB, seconds), with half a second between."""
    out, start_s = [], 0.5
    for number, (frequency_hz, level_db, seconds) in enumerate(rows):
        out.append(
            {"section": number, "start_s": start_s, "seconds": seconds,
             "frequency_hz": frequency_hz, "level_db": level_db}
        )  # fmt: skip
        start_s += seconds + 0.5
    return out


USUAL = sections((1000.0, 0.0, 30.0), (10_000.0, 0.0, 30.0), (16_000.0, 0.0, 30.0))


class FiguresDeck:
    """Options: trimmers that it is `without` or has as a `master`, their `steps_db` (with `clicks`
    less than half a step of turning is lost), `end_db` from where they are found; `told` changes
    the state shown; `winds` times the speed, 0 for at once; `hears` may refuse a call by its name.
    """

    def __init__(
        self,
        tracks: int = 2,
        speed_ips: float = 15.0,
        seed: int = 1,
        *,
        without: Sequence[str] = (),
        master: Sequence[str] = (),
        steps_db: Mapping[str, float] | None = None,
        clicks: bool = False,
        end_db: Mapping[str, float] | None = None,
        told: Callable[[dict[str, Any]], None] | None = None,
        reel: Sequence[Mapping[str, float]] = USUAL,
        reel_s: float = 900.0,
        winds: float = 0.0,
        hears: Callable[[str], None] | None = None,
    ) -> None:
        self._rng = np.random.default_rng([seed, tracks])
        self.tracks, self.speed_ips, self.reel = tracks, speed_ips, reel
        self._without, self._master = set(without), set(master)
        self._steps_db, self._end_db = dict(steps_db or {}), dict(end_db or {})
        self._clicks = clicks
        self._told, self._reel_s, self._winds = told, reel_s, winds
        self._hears = hears or (lambda call: None)
        self.off: dict[str, F64] = {}
        """Of every trimmer (tracks,): how far it stands off, in dB or arc-minutes."""
        for kind in PER_TRACK:
            self.off[kind] = self._rng.uniform(0.6, 2.0, tracks) * self._rng.choice([-1, 1], tracks)
        for kind in PER_STACK:
            self.off[kind] = np.full(tracks, self._rng.uniform(1.0, 3.0))
        if "bias" in self._master:
            self.off["bias"] = self._rng.normal(-0.8, 0.1, tracks)
        for kind, step_db in self._steps_db.items():
            self.off[kind] = step_db * (np.round(self.off[kind] / step_db) + 0.3)
        self._found = {kind: off.copy() for kind, off in self.off.items()}
        self._sense = {kind: float(self._rng.choice([-1.0, 1.0])) for kind in ALL}
        self._changes: dict[tuple[float, int], tuple[float, float]] = {}
        self._due: dict[tuple[str, int], float] = {}
        self._between: dict[tuple[str, int], float] = {}
        self._position_s = 0.0
        self._goal_s: float | None = None
        self._transport, self._monitor, self._tape = "stop", "input", "stock"
        self._ready: list[int] = []
        self.wiped = False
        self.peak_bias_db = float(peak_bias_db(self._wave_um(10_000.0)))
        spacing = 45.0 / (25.4 * speed_ips)
        self._on_tape: deque[tuple[Waves, F64]] = deque(maxlen=max(1, round(spacing / HOP_S)))
        self._frames = 0

    def _wave_um(self, frequency_hz: float | F64) -> Any:
        return 25_400.0 * self.speed_ips / np.asarray(frequency_hz)

    # -- what returns --------------------------------------------------------------------------

    def hop(self, signal: Signal, tones_hz: Sequence[float]) -> Hop:
        """The next 20 ms: envelopes of those tones on every return, as `EnvelopeBank` gives."""
        self._move()
        sent = _waves(signal, self.tracks)
        heard, delay = self._heard(sent)
        time_s = (self._frames + np.arange(POINTS)) * HOP_S / POINTS
        self._frames += POINTS
        envelope = np.zeros((POINTS, len(tones_hz), self.tracks), np.complex128)
        power = np.zeros(self.tracks)
        for t, waves in enumerate(heard):
            for f, level_db in waves:
                size = 10.0 ** ((level_db + ZERO_DBFS + self._waver(f, t)) / 20.0)
                power[t] += size**2
                angle = 2 * np.pi * f * (time_s - 1e-6 * delay[t])
                for k, tone_hz in enumerate(tones_hz):
                    if tone_hz == 0.0 and f < 500.0:
                        envelope[:, k, t] += size * np.cos(angle)
                    elif tone_hz and abs(f - tone_hz) < 20.0:
                        envelope[:, k, t] += size * np.exp(
                            1j * (angle - 2 * np.pi * tone_hz * time_s)
                        )
        noise = self._rng.standard_normal((2, *envelope.shape)) * 10.0 ** (-84.0 / 20.0)
        envelope += noise[0] + 1j * noise[1]
        power += 1e-8
        return Hop(self._frames - POINTS, POINTS, tuple(tones_hz), envelope.astype(np.complex64),
                   np.sqrt(power).astype(np.float32), power, lost=False)  # fmt: skip

    def _waver(self, frequency_hz: float, track: int) -> float:
        """Contact: short waves waver by hundredths of a decibel."""
        if self._monitor == "input":
            return 0.0
        return float(self._rng.normal(0.0, 0.03 * frequency_hz / 10_000.0 + 0.005))

    def _heard(self, sent: Waves) -> tuple[Waves, F64]:
        nothing: Waves = ((),) * self.tracks
        recorded = self._record(sent) if self._transport == "record" else nothing
        angle = self.off["record_azimuth"]
        full = len(self._on_tape) == self._on_tape.maxlen
        late = self._on_tape[0] if full else (nothing, angle)
        if self._transport != "stop":
            self._on_tape.append((recorded, self.off["record_azimuth"].copy()))
        else:
            self._on_tape.clear()
        if self._monitor == "input":
            return sent, np.zeros(self.tracks)
        if self._transport == "stop" or self._goal_s is not None:
            return nothing, np.zeros(self.tracks)
        side = "reproduce" if self._monitor == "reproduce" else "sync"
        if self._tape == "calibration":
            section = self._section()
            on_tape: Waves = nothing
            if section is not None:
                ratio = 20.0 * np.log10(250.0 / 355.0)
                on_tape = (((section["frequency_hz"], section["level_db"] + ratio),),) * self.tracks
            written = np.zeros(self.tracks)
        else:
            on_tape, written = late if side == "reproduce" else (nothing, angle)
        tilt = self.off["reproduce_azimuth"] if side == "reproduce" else self.off["record_azimuth"]
        out = tuple(
            tuple((f, level + self._side_db(side, f, t)) for f, level in waves)
            for t, waves in enumerate(on_tape)
        )
        position = 2.134 * (np.arange(self.tracks) - (self.tracks - 1) / 2.0)
        delay = [
            float(delay_us(angle, place, self.speed_ips))
            for angle, place in zip(tilt - written, position, strict=True)
        ]
        return out, np.array(delay)

    def _side_db(self, side: str, f: float, t: int) -> float:
        level = self.off[f"{side}_level"][t] + self.off[f"{side}_high"][t] * _short(f)
        low = self.off["reproduce_low"][t] if side == "reproduce" and f < 200.0 else 0.0
        return float(level + low)

    def _record(self, sent: Waves) -> Waves:
        if self._tape == "calibration" and self._ready:
            self.wiped = True
        return tuple(
            tuple((f, level + self._sent_db(f, t)) for f, level in waves if t + 1 in self._ready)
            for t, waves in enumerate(sent)
        )

    def _sent_db(self, f: float, t: int) -> float:
        """What the record side makes of a tone, against every trimmer right."""
        bias_db = float(self.off["bias"][t])
        kept = self._changes.get((f, t))
        if kept is None or kept[0] != bias_db:  # it is asked for at every hop, and seldom another
            wave, right = self._wave_um(f), self._right_bias_db
            change = float(output_db(wave, right + bias_db) - output_db(wave, right))
            kept = self._changes[f, t] = bias_db, change
        return kept[1] + self.off["record_level"][t] + self.off["record_high"][t] * _short(f)

    @property
    def _right_bias_db(self) -> float:
        return self.peak_bias_db + RIGHT_BEYOND_PEAK_DB

    def over_bias_db(self, frequency_hz: float = 10_000.0) -> F64:
        """By how much each track's short wave has fallen from its peak."""
        wave = self._wave_um(frequency_hz)
        top = output_db(wave, float(peak_bias_db(wave)))
        return np.asarray(top - output_db(wave, self._right_bias_db + self.off["bias"]))

    def returns_db(self, frequency_hz: float) -> F64:
        """What each track's own recording of a tone returns, re 0 VU."""
        tracks = range(self.tracks)
        side = [self._side_db("reproduce", frequency_hz, t) for t in tracks]
        return np.array([self._sent_db(frequency_hz, t) for t in tracks]) + side

    def _section(self) -> Mapping[str, float] | None:
        at = self._position_s
        return next(
            (s for s in self.reel if s["start_s"] <= at < s["start_s"] + s["seconds"]), None
        )

    # -- time ----------------------------------------------------------------------------------

    def _move(self) -> None:
        most = DB_PER_TURN / SECONDS_PER_TURN * HOP_S
        for key, due_db in list(self._due.items()):
            part = float(np.clip(due_db, -most, most))
            self._turned(*key, part)
            self._due[key] -= part
            if abs(self._due[key]) < 1e-9:
                del self._due[key]
        if self._goal_s is not None:
            left_s, step_s = self._goal_s - self._position_s, self._winds * HOP_S
            self._position_s += float(np.clip(left_s, -step_s, step_s))
            if abs(left_s) <= step_s:
                self._goal_s = None
        elif self._transport != "stop":
            self._position_s += HOP_S
            if self._position_s >= self._reel_s:
                self._transport = "stop"

    def _turned(self, kind: str, row: int, part_db: float) -> None:
        step_db = self._steps_db.get(kind, 0.0)
        if step_db:
            turned = self._between.get((kind, row), 0.0) + part_db
            part_db = step_db * round(turned / step_db)
            self._between[kind, row] = turned - part_db
        end_db, found = self._end_db.get(kind, 100.0), self._found[kind][row]
        self.off[kind][row] = np.clip(self.off[kind][row] + part_db, found - end_db, found + end_db)

    # -- hands ---------------------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """What a person at the deck can see."""
        self._hears("state")
        section = self._section() if self._tape == "calibration" else None
        stacked = [k for k in ALL if k in self._master or k in PER_STACK]
        shown = {
            "tracks": self.tracks, "rate_hz": 48_000, "speed_ips": self.speed_ips,
            "equalisation": {"t1_us": None, "t2_us": 35.0},
            "track_pitch_mm": 2.134, "track_width_mm": 1.0,
            "record_gap_um": 9.0, "head_spacing_mm": 45.0,
            "transport": self._transport, "monitor": self._monitor, "ready": list(self._ready),
            "tape": self._tape, "tapes": ["calibration", "stock"],
            "position_s": self._position_s,
            "section": None if section is None else section["section"],
            "electrical": {"zero_vu_dbu": 4.0, "interface_full_scale_dbu": 20.0},
            "operating_fluxivity_nwb_per_m": 355.0,
            "trimmers": {
                "per_track": [k for k in PER_TRACK if k not in (*stacked, *self._without)],
                "per_stack": [k for k in stacked if k not in self._without],
                "turns": 20,
            },
            "data_sheet": self._sheet(),
        }  # fmt: skip
        if self._told is not None:
            self._told(shown)
        return shown

    def _sheet(self) -> dict[str, Any]:
        if self._tape != "calibration":
            return {
                "tape": "stock", "over_bias_db": 2.8, "over_bias_frequency_hz": 10_000,
                "over_bias_level_db": -20, "record_gap_um": 9.0, "speed_ips": self.speed_ips,
            }  # fmt: skip
        return {
            "tape": "calibration", "fluxivity_nwb_per_m": 250.0, "reference_frequency_hz": 1000.0,
            "width": "2-inch 24 tracks", "fringing_compensated": "for format",
            "sections": [dict(s) for s in self.reel],
        }  # fmt: skip

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Turn a trimmer; seconds that the hand needs."""
        self._hears("turn")
        kinds = self.state()["trimmers"]
        if trimmer not in kinds["per_track" if track is not None else "per_stack"]:
            raise DeckError(f"this deck has no {trimmer} of track {track}")
        rows = range(self.tracks) if track is None else (track - 1,)
        for row in rows:
            due_db = turns * self._sense[trimmer] * DB_PER_TURN
            if self._clicks and trimmer in self._steps_db:
                due_db = self._steps_db[trimmer] * round(due_db / self._steps_db[trimmer])
            self._due[trimmer, row] = self._due.get((trimmer, row), 0.0) + due_db
        return abs(turns) * SECONDS_PER_TURN

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> dict[str, Any]:
        """Press keys; a key pressed while the tape winds ends that."""
        self._hears("transport")
        self._transport = self._transport if state is None else state
        self._goal_s = self._goal_s if state is None else None
        self._ready = self._ready if ready is None else list(ready)
        self._monitor = self._monitor if monitor is None else monitor
        return self.state()

    def load(self, tape: str) -> dict[str, Any]:
        """Thread a tape."""
        self._hears("load")
        self._tape, self._position_s, self._goal_s, self._transport = tape, 0.0, None, "stop"
        return self.state()

    def locate(self, section: int | None = None, position_s: float | None = None) -> dict[str, Any]:
        """Wind to a place."""
        self._hears("locate")
        if section is not None:
            position_s = next(s["start_s"] for s in self.reel if s["section"] == section)
        assert position_s is not None
        if self._transport == "record" or self._winds:
            self._transport = "stop"
        if self._winds:
            self._goal_s = position_s
        else:
            self._position_s = position_s
        return self.state()

    def truth(self) -> dict[str, Any]:
        """For a judge."""
        return {"residual": {}, "calibration_wiped": self.wiped}


def _short(frequency_hz: float) -> float:
    """How much of a high-end trim shows at a frequency, 1 at 10 kHz."""
    x = (frequency_hz / 10_000.0) ** 2
    return 2.0 * x / (1.0 + x)


def _waves(signal: Signal, tracks: int) -> Waves:
    of = signal.signals if isinstance(signal, PerTrack) else (signal,) * tracks
    return tuple(
        tuple((tone.frequency_hz, tone.level_dbfs - ZERO_DBFS) for tone in _tones(each))
        for each in of
    )


def _tones(signal: Any) -> tuple[Tone, ...]:
    if isinstance(signal, Tone):
        return (signal,)
    return signal.tones if isinstance(signal, Tones) else ()


class FiguresRehearsal:
    """A whole line-up of a `FiguresDeck` by the practising technician."""

    def __init__(self, deck: FiguresDeck, seed: int = 1, course: Course | None = None) -> None:
        self.deck = deck
        calibration, stock = deck.load("calibration"), deck.load("stock")
        plan = plan_from_state(calibration, stock)
        self.lineup = LineUp(plan) if course is None else Stages(plan, course)
        self.technician = Technician(deck, seed)
        self.time_s = 0.0
        self.stages: dict[str, float] = {}

    def run(self, most_s: float = 3000.0, until: str = "") -> View:
        """Go on to the close, to the end of the stage `until`, or for so long; the last view."""
        lineup, seen = self.lineup, False
        while not lineup.view.closed and self.time_s < most_s:
            for _ in range(2):
                lineup.see(self.deck.hop(lineup.signal, lineup.tones))
                self.time_s += HOP_S
            answered = self.technician.look(lineup.view, self.time_s)
            if answered is not None:
                lineup.acknowledge(answered)
            if self.technician.declines is not None:
                lineup.decline(self.technician.declines)
            if self.technician.passes_over:
                lineup.pass_over()
            self.stages.setdefault(lineup.view.stage, self.time_s)
            seen = seen or lineup.view.stage == until
            if seen and lineup.view.stage != until:
                break
        return lineup.view

    def journal(self, what: str, **facts: Any) -> list[Mapping[str, Any]]:
        """Entries of one sort with these facts."""
        return [
            e for e in self.lineup.journal
            if e["what"] == what and all(e.get(k) == v for k, v in facts.items())
        ]  # fmt: skip
