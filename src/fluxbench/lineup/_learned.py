"""What a line-up has learned of the deck and its tapes so far, for the stages that follow."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._dropouts import DropoutCount
from fluxbench.lineup._peak import Picture
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._stretches import Stretches
from fluxbench.lineup._telling import heard
from fluxbench.lineup._way_back import WayBack

F64 = NDArray[np.float64]


class Learned(Stretches):
    """The part of the bench that remembers from stage to stage."""

    def __init__(self, plan: Plan, time_s: float, recalling: bool) -> None:
        super().__init__(plan, time_s, recalling)
        self.way_back = WayBack()
        self.sign = np.ones(plan.tracks)  # -1 for a return that is reversed off the tape
        self.bias_off = np.zeros(plan.tracks, bool)
        """Tracks whose bias was tried, and did not come in."""
        self.recorded = np.ones(plan.tracks, bool)
        """Tracks that are to be recorded on, if they are in use, where the stock is recorded."""
        self.dropouts = DropoutCount(plan.tracks)
        self.azimuth_left_arcmin = 0.0
        self.pictures: dict[int, Picture] = {}
        """By track (from 0): what its bias was seen to do in this run."""
        self.found_db: dict[str, F64] = {}
        """What the reference tone of the calibration tape read before anything was turned."""
        self.off_db: dict[tuple[str, int], float] = {}
        """The same re its target, of every head and track (from 0) that has been looked at."""
        self.trusted = False
        """Whether the person knows better than the doubt about the tape."""
        self.left_db: dict[str, tuple[F64, F64]] = {}
        """What the calibration tape read as left re its target: level, high end; by head."""

    def keep_left(self, head: str, level_db: F64, high_db: F64) -> None:
        """Keep what the tape of the plan reads on the tracks that are cabled, (tracks,) each."""
        before = self.left_db.get(head, (level_db, high_db))
        now = heard(self.cables)
        self.left_db[head] = (
            np.where(now, level_db, before[0]),
            np.where(now, high_db, before[1]),
        )

    @property
    def ready(self) -> list[int]:
        """Tracks (from 1) that are to be ready while the stock is recorded."""
        return [int(t) + 1 for t in np.flatnonzero(self.in_use & self.recorded)]

    @property
    def recorded_told(self) -> str:
        """Which tracks are to be recorded on, in words."""
        if self.recorded.all():
            return "all tracks"
        many = "tracks" if len(self.ready) > 1 else "track"
        return f"{many} {', '.join(map(str, self.ready))} alone, the others safe"
