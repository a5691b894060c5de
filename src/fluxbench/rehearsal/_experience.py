"""What hands learn of trimmers of one kind: most of them go the same way, an odd one does not."""

import numpy as np


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
