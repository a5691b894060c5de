"""Line-up tones for the head of a reel: slated, the same on all tracks, read back as they print."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from fluxbench.lineup._bench import Procedure
from fluxbench.lineup._one_stage import OneStage
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._point import error_db, mean_level_db
from fluxbench.lineup._steps import Kept, rounded
from fluxbench.lineup._telling import Stop
from fluxbench.signals import PAUSE_S, PIP_EVERY_S, PIP_S
from fluxbench.trade import SLATE_HZ, SLATE_LEVEL_DB, LineUpTone, line_up_tones, pitch

SHORTEST_S = 2.0
MOST_TRIES = 3
USUAL_S = 30.0
SHORT_WAVES_FROM_HZ = 5000.0
"""From here on operating level is compressed by the tape: tracks are compared with one another."""


class PrintTones(OneStage):
    """Records the tones of the plan's speed one after another, each for so many seconds.

    Before tone 1, 2, 3 stand as many pips. The tones are one piece: if the tape has to be wound
    meanwhile, they begin anew.
    """

    NAME = "print tones"
    LOAD = "thread the session's reel where its tones are to stand"
    DONE = "stop; the tones are on the tape: write them on its box"

    def __init__(
        self,
        plan: Plan,
        seconds: float | None = None,
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        self._line_up_tones = line_up_tones(plan.speed_ips, max(seconds or USUAL_S, SHORTEST_S))
        super().__init__(plan, past, time_s)

    def _work(self) -> Procedure:
        tones = yield from self.step("print tones", self._print())
        self.write("printed", tones=tones)
        self._compare(tones)

    def _print(self) -> Procedure:
        for _ in range(MOST_TRIES):
            asked = self.asked
            told = []
            for number, tone in enumerate(self._line_up_tones, 1):
                self.advise(None, number - 1, len(self._line_up_tones))
                told.append((yield from self._one(number, tone)))
                if self.asked != asked:
                    break
            else:
                return told
            self.note("the tape was wound while the tones were printed: they begin anew")
        raise Stop("the tones cannot be printed in one piece: is there enough tape?")

    def _one(self, number: int, tone: LineUpTone) -> Procedure:
        """Slate and print one tone; what came back of it."""
        for _ in range(number):
            self.send((SLATE_HZ, SLATE_LEVEL_DB))
            yield from self.wait(PIP_S)
            self.silence()
            yield from self.wait(PIP_EVERY_S - PIP_S)
        yield from self.wait(PAUSE_S - PIP_EVERY_S)
        self.send((tone.frequency_hz, tone.level_db))
        begun_s = self.time_s
        yield from self.settle()
        points = [(yield from self.point())]
        while self.time_s - begun_s < tone.duration_s:
            points.append((yield from self.point()))
        self.silence()
        yield from self.wait(PAUSE_S)
        return rounded(
            {
                "number": number,
                "frequency_hz": tone.frequency_hz,
                "level_db": tone.level_db,
                "seconds": tone.duration_s,
                "read_db": mean_level_db(points)[0],
                "error_db": error_db(points)[0],
            }
        )

    def _compare(self, tones: Sequence[dict[str, Any]]) -> None:
        """Say which tracks do not give back what was sent."""
        bands = self.plan.tolerances
        for tone in tones:
            band = bands.level if tone["frequency_hz"] < SHORT_WAVES_FROM_HZ else bands.high_end
            read = np.array([np.nan if v is None else v for v in tone["read_db"]])
            off = read - tone["level_db"]
            if tone["frequency_hz"] >= SHORT_WAVES_FROM_HZ and self.live.any():
                off -= np.nanmedian(off[self.live])
            accept_db = bands.response_db if tone["frequency_hz"] < 500.0 else band.accept_db
            for t in np.flatnonzero(~(np.abs(off) <= accept_db) & self.live):
                away = "off the others" if tone["frequency_hz"] >= SHORT_WAVES_FROM_HZ else "off"
                said = "is not read" if np.isnan(off[t]) else f"reads {off[t]:+.2f} dB {away}"
                self.note(f"{pitch(tone['frequency_hz'])} on track {t + 1} {said}")
