"""What lies before a technician without a bench: needles, an oscillator, a transport, a pencil."""

from collections import deque
from collections.abc import Generator
from typing import Any

import numpy as np

from fluxbench.lineup import Plan, Section
from fluxbench.links import DeckControls
from fluxbench.measure import HOP_S, Hop
from fluxbench.rehearsal._needle_meter import F64, VuNeedles
from fluxbench.rehearsal._technician import REACTION_S
from fluxbench.signals import Signal, Silence, Tone

GLANCE_S = 0.5
REST_S = 0.45
"""A needle has come to rest."""
GONE_VU = -17.0
GONE_S = 0.2
PATIENCE_S = 90.0
MONITOR_STEP_DB = 5.0
REEL_BEGIN_S = 5.0

Doing = Generator[None, None, None]


class GaveUp(Exception):  # noqa: N818 - not an error: the line-up ends here, with a reason
    """The technician cannot go on."""


class Desk:
    """The deck, its needles and its tape; procedures are generators, resumed once a hop."""

    def __init__(self, deck: DeckControls, plan: Plan) -> None:
        self.deck, self.plan = deck, plan
        self.signal: Signal = Silence()
        self.tones: tuple[float, ...] = (1000.0,)
        self.time_s = 0.0
        self.running = False
        self.stage = "plan"
        self.done = self.due = 0
        self.live = np.ones(plan.tracks, bool)
        self.journal: list[dict[str, Any]] = []
        self.notes: list[str] = []
        self.visits = {
            kind: [0] * (1 if kind.endswith("azimuth") else plan.tracks)
            for kind in sorted(plan.trimmers)
        }
        self._needles = VuNeedles(plan.tracks, HOP_S)
        self._seen: deque[F64] = deque(maxlen=round(GLANCE_S / HOP_S))
        self._cross = 0j
        self._gone_s = 0.0
        self.gone = False
        """All needles fell since the tone was last cued: the section or the reel has ended."""
        self._level_db = 0.0
        self._monitor_db = 0.0
        self._source: Section | None = None
        self._monitor = "input"

    def see(self, hop: Hop) -> None:
        """Let a hop pass before the eyes: all needles move, the phase meter follows two tracks."""
        self.time_s += HOP_S
        gain_db = self._monitor_db - self.plan.zero_dbfs
        amplitude = np.sqrt(hop.total_power) * 10.0 ** (gain_db / 20.0)
        deflection = self._needles.move(amplitude)
        self._seen.append(deflection.copy())
        gone = float(np.median(deflection[self.live])) < 10.0 ** (GONE_VU / 20.0)
        self._gone_s = self._gone_s + HOP_S if gone else 0.0
        self.gone = self.gone or self._gone_s >= GONE_S
        first, last = np.flatnonzero(self.live)[[0, -1]]
        envelope = hop.envelope[:, 0]
        self._cross = complex((envelope[:, first] * envelope[:, last].conj()).mean())

    def write(self, what: str, **facts: Any) -> None:
        """Put a line into the journal; numbers to a thousandth, no reading as null."""
        told = {key: _plain(value) for key, value in facts.items()}
        self.journal.append({"t": round(self.time_s, 2), "what": what, **told})

    def note(self, text: str) -> None:
        """Remember something for the end."""
        self.notes.append(text)
        self.write("note", text=text)

    def begin(self, stage: str) -> None:
        """Go on to the next stage."""
        self.stage, self.done, self.due = stage, 0, 0
        self.write("stage", name=stage)

    def send(self, frequency_hz: float, level_db: float) -> Doing:
        """Send a tone on all tracks; a new level has the monitor set to suit it."""
        self.signal = Tone(frequency_hz, self.plan.zero_dbfs + level_db)
        self.tones = (frequency_hz,)
        if level_db != self._level_db:
            self._turn_up(level_db)
        yield from self.wait(REACTION_S + self.plan.head_delay_s + REST_S)

    def play(self, section: Section, head: str) -> Doing:
        """Have a section of the calibration tape before this head."""
        self.signal = Silence()
        self.tones = (section.frequency_hz,)
        self._turn_up(section.level_db)
        self._source, self._monitor = section, head
        yield from self.cue()

    def roll_on(self, section: Section) -> Doing:
        """Let the calibration tape go on into its next section."""
        self.tones = (section.frequency_hz,)
        self._turn_up(section.level_db)
        self._source = section
        while not self.gone:
            yield
        yield from self._await_tone()

    def record(self) -> Doing:
        """Record on all tracks, off the tape to the needles, from where the reel stands."""
        self._source, self._monitor = None, "reproduce"
        yield from self.press("record", "reproduce")
        yield from self._await_tone()

    def cue(self) -> Doing:
        """Wind to where the tone is: the section's start, or the beginning of the stock."""
        yield from self.wait(REACTION_S)
        if self._source is not None:
            self.deck.locate(section=self._source.number)
            yield from self.press("play", self._monitor)
        else:
            self.deck.locate(position_s=REEL_BEGIN_S)
            yield from self.press("record", self._monitor)
        yield from self._await_tone()

    def press(self, state: str, monitor: str) -> Doing:
        """Press a button of the transport; only `record` has tracks ready."""
        yield from self.wait(REACTION_S)
        ready = [int(t) + 1 for t in np.flatnonzero(self.live)] if state == "record" else []
        self.deck.transport(state=state, ready=ready, monitor=monitor)
        self.running = state != "stop"

    def load(self, tape: str) -> Doing:
        """Thread a tape; nothing is sent meanwhile."""
        self.signal = Silence()
        yield from self.wait(REACTION_S)
        self.deck.load(tape)
        self.running = False

    def _turn_up(self, level_db: float) -> None:
        self._level_db = level_db
        self._monitor_db = MONITOR_STEP_DB * round(-level_db / MONITOR_STEP_DB)

    def _await_tone(self) -> Doing:
        """Until the needles stand; what they showed before is forgotten."""
        begun_s = self.time_s
        yield from self.wait(GONE_S + self.plan.head_delay_s)
        while self._gone_s > 0.0:
            if self.time_s - begun_s > PATIENCE_S:
                raise GaveUp("no needle moves: wrong tape, wrong monitor, or nothing is recorded")
            yield
        yield from self.wait(REST_S)
        self.gone = False

    def wait(self, seconds: float) -> Doing:
        """Let time pass."""
        end_s = self.time_s + seconds
        while self.time_s < end_s:
            yield


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(v) for key, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(v) for v in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 3) if np.isfinite(value) else None
    return value
