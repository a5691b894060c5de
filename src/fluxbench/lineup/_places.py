"""The places where a trimmer has stood: one that moves in steps comes back to the same ones."""

import numpy as np

HAND_S = 0.6
"""A hand that is told to stay may still be about to turn for so long."""
TIMES_SEEN = 3
"""So often a place on either side of the target must have been stood on."""
SAME_DB = 0.03
MOST_STEP_DB = 0.7
"""Stored steps are 0.1 to 0.5 dB (common practice, no source)."""


class Places:
    """Where one track's trimmer came to stand, as target minus reading in dB, turn by turn."""

    def __init__(self) -> None:
        self._stood: list[float] = []

    def see(self, off_db: float, error_db: float) -> None:
        """It stands still here; a place is told once until it is left."""
        same_db = max(SAME_DB, 2.0 * error_db)
        if not self._stood or abs(self._stood[-1] - off_db) > same_db:
            self._stood.append(off_db)
        else:
            self._stood[-1] = off_db

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
        """The nearest places above and below the target, each stood on often; else NaN."""
        stood = np.array(self._stood)
        sides = []
        for sign in (1.0, -1.0):
            away = np.sort((sign * stood)[sign * stood > 0.0])
            often = len(away) >= TIMES_SEEN and away[TIMES_SEEN - 1] - away[0] < 2.0 * SAME_DB
            sides.append(sign * float(away[:TIMES_SEEN].mean()) if often else float("nan"))
        return sides[0], sides[1]
