"""Which tracks of a deck the channels of an interface are cabled to."""

from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True, slots=True)
class Cables:
    """Tracks (from 0) by channel (from 0) of the interface; a channel of `None` hangs free.

    `returns` says whose output is on each input, `sends` whose input each output feeds; `mult` is
    the output that feeds the inputs of all tracks at once, where there is one.
    """

    tracks: int
    returns: tuple[int | None, ...]
    sends: tuple[int | None, ...]
    mult: int | None = None

    @classmethod
    def straight(cls, tracks: int) -> Self:
        """Channel by channel, track by track."""
        every = tuple(range(tracks))
        return cls(tracks, every, every)

    @classmethod
    def listening(cls, inputs: int) -> Self:
        """What comes back on every input, and nothing sent."""
        return cls(inputs, tuple(range(inputs)), ())

    @property
    def heard(self) -> tuple[int, ...]:
        """The tracks that come back, in the order of the inputs."""
        return tuple(track for track in self.returns if track is not None)

    @property
    def whole(self) -> bool:
        """Whether every track comes back."""
        return len(self.heard) == self.tracks
