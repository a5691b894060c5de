"""The five-minute check: three tones on all tracks against what the last line-up left."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fluxbench.lineup._bench import F64, Procedure
from fluxbench.lineup._one_stage import OneStage
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._stages_record import RESPONSE_DB
from fluxbench.lineup._steps import Kept

CHECK_HZ = (125.0, 2000.0, 12_500.0)
"""Low, middle, high: three of the tones with which a line-up verifies the response."""
LEAVE_IT = "leave it alone"


class FiveMinuteCheck(OneStage):
    """Records three tones at once, and names the tracks that have moved.

    `as_left_db` is the response that the last line-up left, by frequency in Hz as text, a level
    for each track in dB re what was sent, None where there was no reading.
    """

    NAME = "five-minute check"
    DONE = "stop; the check is done"

    def __init__(
        self,
        plan: Plan,
        as_left_db: Mapping[str, Sequence[float | None]],
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        self._as_left_db = {
            f: np.array([np.nan if v is None else v for v in as_left_db[f"{f:g}"]])
            for f in CHECK_HZ
        }
        super().__init__(plan, past, time_s)

    def _work(self) -> Procedure:
        self.send(*((f, RESPONSE_DB) for f in CHECK_HZ))
        yield from self.settle()
        read = (yield from self.levels(4.0)) - RESPONSE_DB
        self.write("check", **self._judged(dict(zip(CHECK_HZ, read, strict=True))))

    def _judged(self, read_db: Mapping[float, F64]) -> dict[str, Any]:
        """The tracks that moved by more than is accepted, or are gone, and the words for it."""
        bands = self.plan.tolerances
        moved = np.zeros(self.plan.tracks, bool)
        off_db: dict[str, F64] = {}
        for f, level in read_db.items():
            accept_db = bands.level.accept_db if f == CHECK_HZ[1] else bands.high_end.accept_db
            off = level - self._as_left_db[f]
            off_db[f"{f:g}"] = off
            gone = np.isnan(level) & np.isfinite(self._as_left_db[f])
            moved |= gone | (np.abs(np.nan_to_num(off)) > accept_db)
        tracks = [int(t) + 1 for t in np.flatnonzero(moved)]
        words = LEAVE_IT
        if tracks:
            named = ", ".join(map(str, tracks))
            words = f"moved since the last line-up: track{'s' * (len(tracks) > 1)} {named}"
        return {"words": words, "moved": tracks, "off_db": off_db}
