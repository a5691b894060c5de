"""The places where a trimmer has stood: one that moves in steps comes back to the same ones."""

import numpy as np

HAND_S = 0.6
"""A hand that is told to stay may still be about to turn for so long."""
TIMES_SEEN = 3
"""So often a place on either side of the target must have been stood on."""
REMEMBERED = 6
"""So many of the last on either side count: one or two that were read as it moved do no harm."""
SAME_DB = 0.03
MOST_STEP_DB = 0.7
"""Stored steps are 0.1 to 0.5 dB (common practice, no source)."""


class Places:
    """Where one track's trimmer came to stand, as target minus reading in dB, turn by turn."""

    def __init__(self) -> None:
        self._stood: list[float] = []
        self._left = True

    def see(self, off_db: float) -> None:
        """It stands still here: one place until it is left, read ever better."""
        if self._left:
            self._stood.append(off_db)
        else:
            self._stood[-1] = off_db
        self._left = False

    def leave(self) -> None:
        """It has been turned."""
        self._left = True

    @property
    def many(self) -> bool:
        """Whether it has stood on more places than a trimmer does that can be set finely."""
        return len(self._stood) >= TIMES_SEEN

    @property
    def step_db(self) -> float:
        """From the place next below the target to the one next above it; NaN if not known."""
        return float(np.subtract(*self._either_side()))

    def nearest(self, off_db: float, least_step_db: float) -> bool:
        """Whether steps were seen, and the nearest one to the target is where it stands."""
        above, below = self._either_side()
        step_db = above - below
        if not least_step_db < step_db <= MOST_STEP_DB:
            return False
        return abs(off_db) <= min(above, -below) + SAME_DB

    def _either_side(self) -> tuple[float, float]:
        """Where it came to stand above and below the target of late, if often enough; else NaN."""
        stood = np.array(self._stood)
        sides = []
        for sign in (1.0, -1.0):
            late = stood[sign * stood > 0.0][-REMEMBERED:]
            place = float(np.median(late)) if len(late) >= TIMES_SEEN else float("nan")
            often = int((np.abs(late - place) < SAME_DB).sum()) >= TIMES_SEEN
            sides.append(place if often else float("nan"))
        return sides[0], sides[1]
