"""A verification: what was chosen is read on all tracks, held against limits, worst track first."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._one_stage import OneStage
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._steps import Kept
from fluxbench.lineup._verified_erasure import erasure
from fluxbench.lineup._verified_rows import (
    crosstalk,
    distortion,
    flutter,
    maximum,
    noise,
    response,
)

READINGS: Mapping[str, Callable[[Bench], Procedure]] = {
    "response": response,
    "noise": noise,
    "distortion": distortion,
    "crosstalk": crosstalk,
    "flutter": flutter,
    "maximum": maximum,
    "erasure": erasure,
}
"""What can be verified, in order."""


class Verification(OneStage):
    """Records on all tracks and reads what was chosen; the deck is not touched."""

    NAME = "verification"
    DONE = "stop; it is verified"

    def __init__(
        self,
        plan: Plan,
        chosen: Sequence[str],
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        self._chosen = [name for name in READINGS if name in chosen]
        super().__init__(plan, past, time_s)

    def _work(self) -> Procedure:
        every: list[dict[str, Any]] = []
        for done, name in enumerate(self._chosen):
            self.advise(None, done, len(self._chosen))
            rows = yield from self.step(name, _told(READINGS[name](self)))
            self.write("verified", of=name, rows=rows)
            every += [{"of": name, **row} for row in rows]
        self.write("verification", **judged(every, self.plan.tracks))


def _told(reading: Procedure) -> Procedure:
    return [row.told() for row in (yield from reading)]


def judged(rows: Sequence[Mapping[str, Any]], tracks: int) -> dict[str, Any]:
    """Each track's verdict, and what decides it, the worst track first.

    `tracks` in the result is a list of `track`, `verdict` (in, out or no reading), `margin_db` (how
    far its worst row is inside its limit) and `worst`, the words for that row.
    """
    limited = [row for row in rows if row["limit"] is not None]
    found = []
    for track in range(tracks):
        margins = [(row["margin_db"][track], row["name"]) for row in limited]
        read = [one for one in margins if one[0] is not None and np.isfinite(one[0])]
        if not read:
            found.append((-np.inf, track, "no reading", None))
            continue
        margin, name = min(read)
        if len(read) < len(margins):
            missing = next(n for m, n in margins if m is None or not np.isfinite(m))
            if margin >= 0.0:
                found.append((-np.inf, track, "no reading", missing))
                continue
        found.append((margin, track, "in" if margin >= 0.0 else "out", name))
    found.sort(key=lambda one: one[:2])
    told = [
        {
            "track": track + 1,
            "verdict": verdict,
            "margin_db": None if np.isinf(margin) else round(float(margin), 2),
            "worst": name,
        }
        for margin, track, verdict, name in found
    ]
    return {"words": _words(told), "tracks": told}


def _words(told: Sequence[Mapping[str, Any]]) -> str:
    parts = []
    for verdict, words in (("out", "out"), ("no reading", "without a reading")):
        some = sorted(t["track"] for t in told if t["verdict"] == verdict)
        if some:
            parts.append(f"{words}: track{'s' * (len(some) > 1)} {', '.join(map(str, some))}")
    return "; ".join(parts) or "all tracks are in"
