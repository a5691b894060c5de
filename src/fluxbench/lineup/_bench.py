"""The line-up as it runs: points of 0.1 s in, asks and advice out, what is taken in a journal."""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._channels import cables_from_told, cables_told
from fluxbench.lineup._learned import Learned
from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._point import HOPS_PER_POINT, Point, mean_level_db
from fluxbench.lineup._presence import GONE_POINTS, WINDING_POINTS, Presence
from fluxbench.lineup._steps import Kept, Steps, thawed
from fluxbench.lineup._telling import Stop
from fluxbench.lineup._vanished import Vanishing
from fluxbench.lineup._view import Ask
from fluxbench.measure import HOP_S
from fluxbench.signals import Signal, Silence, Tone, Tones
from fluxbench.trade import pitch

F64 = NDArray[np.float64]

Procedure = Generator[None, Point, Any]

SHOWN_S = 0.2
SETTLED_S = 0.4
"""What is sent anew has filled the filters and the window."""


class Bench(Learned):
    """What all stages share: the plan, what is sent and listened to, asks, notes, journal."""

    def __init__(self, plan: Plan, past: Sequence[Kept] | None, time_s: float) -> None:
        super().__init__(plan, time_s, recalling=bool(past))
        self.steps = Steps(past or ())
        self.signal: Signal = Silence()
        self.tones: tuple[float, ...] = (1000.0,)
        self.round_trip_s = 0.0
        self.source: tuple[str, Section | None] = ("none", None)
        self.loaded = ""
        self.cabled = plan.channels is None
        """Whether a person has said that the cables hang as they should."""
        self.wanted: int | None = None
        """The track (from 0) that the person wants in hand, until it has been."""
        self._asks = 0
        self._answered = self._declined = False
        self._presence = Presence()
        self.vanishing = Vanishing(plan.tracks)
        self._inside = False
        self._monitor = "reproduce"

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
        self._presence.forget()
        self.vanishing.forget()

    def acknowledge(self, number: int) -> None:
        """The person has done what was asked."""
        if self.view.ask is not None and self.view.ask.number == number:
            self._answered = True

    def decline(self, number: int) -> None:
        """The person shares the doubt that was asked about: the line-up ends."""
        ask = self.view.ask
        if ask is not None and ask.number == number and ask.kind == "doubt":
            self._answered = self._declined = True

    @property
    def asked(self) -> int:
        """How often something was asked for so far."""
        return self._asks

    @property
    def return_lag_s(self) -> float:
        """From a change of what is sent, or of a record trimmer, to its return."""
        tape_s = self.plan.head_delay_s if self.source[0] == "record" else 0.0
        return self.round_trip_s + tape_s

    @property
    def shown_lag_s(self) -> float:
        """From a turn of a trimmer to a reading that shows it: the lag and most of a window."""
        return self.return_lag_s + SHOWN_S

    # -- procedures: generators that are sent one point at a time ------------------------------

    def step(self, name: str, run: Procedure) -> Procedure:
        """Run something as one step: after an interruption its result stands, and it is not run.

        A step within a step is part of it.
        """
        if self._inside:
            return (yield from run)
        kept = self.steps.next(name)
        if kept is not None:
            run.close()
            self._restore(kept.state)
            return thawed(kept.value)
        self._inside = True
        try:
            result = yield from run
        finally:
            self._inside = False
        self.steps.keep(name, result, self._state())
        return result

    def ask(self, kind: str, text: str, **values: Any) -> Procedure:
        """Ask for something and wait until it is done."""
        yield from self.step(f"ask {kind}", self._ask(kind, text, values))

    def doubt(self, stop: Stop) -> Procedure:
        """Ask whether to go on in spite of something that speaks against it; else `stop`."""
        self._declined = False
        yield from self.ask("doubt", f"{stop}. Go on only if you know that it is right")
        if self._declined:
            raise stop
        self.note("the line-up went on in spite of this, as the person wished")

    def _ask(self, kind: str, text: str, values: Mapping[str, Any]) -> Procedure:
        self._asks += 1
        self._answered = False
        before = self.view.advice
        self.view = replace(self.view, ask=Ask(self._asks, kind, text, values), advice=None)
        while not self._answered:
            yield
        self.view = replace(self.view, ask=None, advice=before)
        self._presence.forget()
        if kind == "load":
            self.loaded = str(values["tape"])
        elif kind == "cables":
            self.plug(cables_from_told(values))
            self.cabled = True

    def wait(self, seconds: float) -> Procedure:
        """Let time pass."""
        if self.steps.replaying:
            return
        end = self.time_s + seconds
        while self.time_s < end:
            yield

    def settle(self) -> Procedure:
        """Wait until what is sent now has come back and filled the filters."""
        yield from self.wait(self.return_lag_s + SETTLED_S)
        self._presence.forget()

    def whole_point(self) -> Generator[None, Point, Point]:
        """The next point in which no frame was lost, whatever it holds."""
        while (point := (yield)).lost:
            pass
        return point

    def point(self) -> Generator[None, Point, Point]:
        """The next point at which the first tone is there; asks for the tape if it is gone."""
        presence = self._presence
        while True:
            point = presence.take((yield), self.live, len(self.tones))
            if point is not None:
                gone = None
                if self.source[0] == "play":
                    gone = self.vanishing.see(point.level_db[0], self.live)
                if gone is not None:
                    yield from self.shout(gone)
                    yield from self.wind()
                    continue
                self.dropouts.see(point.envelope, self.tones, self.source[0], self.live)
                return point
            if presence.clips:
                raise Stop("every return clips at the interface: turn its inputs down")
            if presence.gone:
                if not presence.ask_again():
                    raise Stop(
                        f"{pitch(self.tones[0])} does not come back, however often it was asked"
                        " for: see to tape, monitor and cables, and whether the section is wiped"
                    )
                yield from self.wind()

    def shout(self, track: int) -> Procedure:
        """A track (from 0) has vanished from the calibration tape: have the tape stopped at once.

        The line-up goes on without that track.
        """
        why = f"has vanished from {self.plan.tape_told} while it played"
        yield from self.ask(
            "transport",
            f"STOP: track {track + 1} {why}. Is it recording? See that all tracks are safe before"
            " the tape plays on",
            state="stop",
            ready=[],
        )
        self.leave_out(track, why)

    def gather(self, seconds: float) -> Generator[None, Point, list[Point]]:
        """Points over some seconds."""
        points: list[Point] = []
        for _ in range(round(seconds / (HOPS_PER_POINT * HOP_S))):
            points.append((yield from self.point()))
        return points

    def levels(self, seconds: float) -> Generator[None, Point, F64]:
        """Mean level (tones, tracks) over some seconds, dB re 0 VU, NaN where there is none."""
        mean_db: F64 = yield from self.step("levels", self._levels(seconds))
        return mean_db

    def _levels(self, seconds: float) -> Generator[None, Point, F64]:
        return mean_level_db((yield from self.gather(seconds)))

    def play_section(self, section: Section, monitor: str) -> Procedure:
        """Have a section of the calibration tape played and wait for its tone."""
        self.source = ("play", section)
        self.silence()
        self.listen(section.frequency_hz)
        self._monitor = monitor
        yield from self.wind()

    def play_on(self, monitor: str) -> Procedure:
        """Have the other head listened to while the section plays on."""
        self._monitor = monitor
        self.listen(*self.tones)
        yield from self.ask("transport", f"listen to {monitor}", state="play", ready=[],
                            monitor=monitor)  # fmt: skip
        yield from self.settle()

    def record_all(self, tracks: NDArray[np.bool_] | None = None) -> Procedure:
        """Have all tracks recorded on the stock, or these alone, listened to from the tape."""
        self.source = ("record", None)
        self.recorded = np.ones(self.plan.tracks, bool) if tracks is None else tracks
        if self.loaded != "stock":
            yield from self.ask("load", "load the session's stock", tape="stock")
        yield from self.ask(
            "transport", f"record on {self.recorded_told}, listen to the reproduce head",
            state="record", ready=self.ready, monitor="reproduce",
        )  # fmt: skip

    def wind(self) -> Procedure:
        """Ask for the place on the tape that the stage needs."""
        self._presence.expect(WINDING_POINTS)
        kind, section = self.source
        if kind == "play" and section is not None:
            if self.loaded != self.plan.tape:
                yield from self.ask("load", f"load {self.plan.tape_told}", tape=self.plan.tape)
            yield from self.ask(
                "locate",
                f"find the {pitch(section.frequency_hz)} section",
                section=section.number,
            )
            yield from self.ask("transport", "play", state="play", ready=[], monitor=self._monitor)
        elif kind == "record":
            yield from self.ask("locate", "no return: rewind the stock", position_s=5.0)
            yield from self.record_all(self.recorded)
        yield from self.settle()

    def _state(self) -> Mapping[str, Any]:
        """All that a step may have changed and a later one needs, as plain values."""
        kind, section = self.source
        return {
            "in_use": self.in_use.tolist(),
            "cables": cables_told(self.cables) if self.cabled else None,
            "sign": self.sign.tolist(),
            "bias_off": self.bias_off.tolist(),
            "recorded": self.recorded.tolist(),
            "round_trip_s": float(self.round_trip_s),
            "azimuth_left_arcmin": float(self.azimuth_left_arcmin),
            "source": [kind, None if section is None else section.number],
            "monitor": self._monitor,
            "loaded": self.loaded,
            "asks": self._asks,
            "notes": list(self.view.notes),
            "moved": self.way_back.told(),
        }

    def _restore(self, state: Mapping[str, Any]) -> None:
        kind, number = state["source"]
        self.in_use = np.array(state.get("in_use", state.get("live")), bool)
        cables = state.get("cables")
        self.plug(self.cables if cables is None else cables_from_told(cables))
        self.cabled = cables is not None or self.plan.channels is None
        self.sign = np.array(state["sign"])
        self.bias_off = np.array(state.get("bias_off", [False] * self.plan.tracks))
        self.recorded = np.array(state.get("recorded", [True] * self.plan.tracks))
        self.round_trip_s = state["round_trip_s"]
        self.azimuth_left_arcmin = state["azimuth_left_arcmin"]
        self.source = (kind, next((s for s in self.plan.sections if s.number == number), None))
        self._monitor, self.loaded, self._asks = state["monitor"], state["loaded"], state["asks"]
        self.view = replace(self.view, notes=tuple(state["notes"]), ask=None)
        self.way_back.restore(state.get("moved", {}))
        self._presence.expect(GONE_POINTS)
