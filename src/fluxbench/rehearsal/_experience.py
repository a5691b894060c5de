"""What hands learn of trimmers of one kind: most of them go the same way, an odd one does not."""

import numpy as np

BEARS, TURNS_BACK = 3, 9
"""So many turns in vain in a row, then he turns further; and so many, then the other way."""
WHOLE_WAY_TURNS = 20.0


class Experience:
    """What a turn of each kind of trimmer does, by the tracks that were turned."""

    def __init__(self) -> None:
        self._seen: dict[str, dict[int | None, float]] = {}

    def learn(self, kind: str, track: int | None, per_turn: float) -> None:
        """A turn of this track's trimmer was seen to do so much."""
        tracks = self._seen.setdefault(kind, {})
        tracks.pop(track, None)
        tracks[track] = per_turn  # the newest stands last

    def of(self, kind: str) -> float | None:
        """What a turn may be expected to do on a new track; None for a kind never turned.

        The newest of those that go the way of most; of as many either way, the older way.
        """
        if kind not in self._seen:
            return None
        seen = list(self._seen[kind].values())
        way = np.sign(np.sign(seen).sum()) or np.sign(seen[0])
        return next(one for one in reversed(seen) if np.sign(one) == way)


def sweeping(trimmer: str) -> str:
    """What a turn does while something is sought is remembered apart: it is another quantity."""
    return f"{trimmer}, sweeping"


def further(turns: float, in_vain: int) -> float:
    """As far as he turns after so many turns of a trimmer that moved nothing."""
    turns *= 2.0 ** max(0, in_vain - BEARS)
    return max(-WHOLE_WAY_TURNS, min(turns, WHOLE_WAY_TURNS))
