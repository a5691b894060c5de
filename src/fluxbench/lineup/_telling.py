"""What the line-up tells: the view, the journal, its notes, and which tracks it goes on with."""

from dataclasses import replace
from typing import Any

import numpy as np

from fluxbench.lineup._plan import Plan
from fluxbench.lineup._steps import rounded
from fluxbench.lineup._view import Advice, AzimuthLine, Board, View


class Stop(Exception):  # noqa: N818 - not an error: the line-up ends here, with a reason
    """The line-up cannot go on; the reason is for the person."""


class Telling:
    """The part of the bench that speaks; `recalling` while what was done before is gone through."""

    def __init__(self, plan: Plan, time_s: float, recalling: bool) -> None:
        self.plan = plan
        self.time_s = time_s
        self.view = View("plan", time_s)
        self.journal: list[dict[str, Any]] = []
        self.live = np.ones(plan.tracks, bool)
        self.board: Board | None = None
        self.line: AzimuthLine | None = None
        self._recalling = recalling
        self._passed: tuple[str, int | None] | None = None

    def write(self, what: str, **facts: Any) -> None:
        """Put a fact into the journal (rounded: the journal is compared byte for byte)."""
        if self._recalling:
            return
        self.journal.append({"t": round(self.time_s, 2), "what": what, **rounded(facts)})

    def note(self, text: str) -> None:
        """Say something that stays on the screen and in the journal, once."""
        if text not in self.view.notes:
            self.view = replace(self.view, notes=(*self.view.notes, text))
            self.write("note", text=text)

    def leave_out(self, track: int, why: str) -> None:
        """Go on without a track (from 0); `Stop` if it was the last one."""
        self.live[track] = False
        self.note(f"track {track + 1} {why}; it is left out")
        if not self.live.any():
            raise Stop("no track is left that gives a reading: see the notes, and begin again")

    def stage(self, name: str) -> None:
        self.view = replace(self.view, stage=name, ask=None, advice=None, done=0, due=0)
        self.board, self.line = None, None
        self.write("stage", name=name)

    def advise(self, advice: Advice | None, done: int = 0, due: int = 0) -> None:
        self.view = replace(self.view, advice=advice, done=done, due=due)
        if advice is None:
            self._passed = None

    def pass_over(self) -> None:
        """The person leaves the trimmer that is shown as it is; nobody else ever does."""
        shown = self.view.advice
        self._passed = None if shown is None else (shown.trimmer, shown.track)

    def passed_over(self, trimmer: str, track: int | None) -> bool:
        """Whether the person went past this trimmer; true once."""
        passed, self._passed = self._passed == (trimmer, track), None
        return passed
