"""What the line-up tells: the view, the journal, its notes, and which tracks it goes on with."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Cables
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._steps import Leave, rounded
from fluxbench.lineup._view import Advice, AzimuthLine, Board, View


class Stop(Exception):  # noqa: N818 - not an error: the line-up ends here, with a reason
    """The line-up cannot go on; the reason is for the person."""


def heard(cables: Cables) -> NDArray[np.bool_]:
    """Which tracks come back by some cables, (tracks,)."""
    back = np.zeros(cables.tracks, np.bool_)
    back[list(cables.heard)] = True
    return back


def _is_table(fact: object) -> bool:
    rows = fact.values() if isinstance(fact, dict) else (fact,)
    return any(isinstance(row, np.ndarray) for row in rows)


class Telling:
    """The part of the bench that speaks; `recalling` while what was done before is gone through."""

    def __init__(self, plan: Plan, time_s: float, recalling: bool) -> None:
        self.plan = plan
        self.time_s = time_s
        self.view = View("plan", time_s)
        self.journal: list[dict[str, Any]] = []
        self.in_use = np.array([t not in plan.unused for t in range(plan.tracks)])
        """Tracks that the line-up goes on with."""
        self.cables = plan.cables
        self.live = self.in_use & heard(self.cables)
        """Those of them that come back by the cables that hang now, and are looked at."""
        self.board: Board | None = None
        self.line: AzimuthLine | None = None
        self._recalling = recalling
        self._passed: tuple[str, int | None] | None = None

    def write(self, what: str, **facts: Any) -> None:
        """Put a fact into the journal (rounded: the journal is compared byte for byte).

        Where a table does not speak of all tracks, `bank` says of which ones (from 1) it does.
        """
        if self._recalling:
            return
        bank = [t + 1 for t in self.cables.heard if self.live[t] or not self.in_use[t]]
        if len(bank) < self.plan.tracks and any(_is_table(fact) for fact in facts.values()):
            facts["bank"] = bank
        self.journal.append({"t": round(self.time_s, 2), "what": what, **rounded(facts)})

    def note(self, text: str) -> None:
        """Say something that stays on the screen and in the journal, once."""
        if text not in self.view.notes:
            self.view = replace(self.view, notes=(*self.view.notes, text))
            self.write("note", text=text)

    def note_of(self, trimmer: str, track: int, text: str) -> None:
        """Say something of the trimmer of a track (from 0)."""
        self.note(f"{trimmer.replace('_', ' ')} of track {track + 1} {text}")

    def leave_out(self, track: int, why: str) -> None:
        """Go on without a track (from 0); `Stop` if it was the last one.

        `Leave` if others are in use, but none of them is cabled.
        """
        self.in_use[track] = self.live[track] = False
        self.note(f"track {track + 1} {why}; it is left out")
        if not self.in_use.any():
            raise Stop("no track is left that gives a reading: see the notes, and begin again")
        if not self.live.any():
            raise Leave(None, "no track that is cabled gives a reading")

    def plug(self, cables: Cables) -> None:
        """Take over the cables that hang now."""
        self.cables = cables
        self.live = self.in_use & heard(cables)

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
