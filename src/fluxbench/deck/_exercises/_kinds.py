"""What an exercise is: a deck, what is hidden in it, a task in words, and what is judged."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

Named = tuple[str, tuple[int, ...]]
"""What is wrong, by its name in `WRONGS`, and on which tracks (from 1)."""


@dataclass(frozen=True, slots=True)
class Hidden:
    """What the learner is not told. Tracks count from 1."""

    wrong: tuple[Named, ...] = ()
    """What has to be found; nothing is an answer, too."""
    stock: str = "even"
    lined_up_for: str = "even"
    """The stock that the trimmers stand for."""
    as_found: bool = False
    """Whether all trimmers stand as somebody left them, by chance."""
    off_db_or_arcmin: Mapping[str, Mapping[int, float]] = field(default_factory=dict)
    """By trimmer and track (1 for a stack): how far it stands from where it belongs, dB or
    arc-minutes."""
    tracks: tuple[int, ...] = ()
    """Those that the task is about; all where it names none."""
    one_in: int = 1
    """A blind guess among what this exercise hides is right once in so many."""

    @property
    def faults(self) -> tuple[str, ...]:
        """The deck's own names of the faults."""
        names = []
        for name, tracks in self.wrong:
            if not name.startswith("turned "):
                names.append(name + (":" + ",".join(map(str, tracks)) if tracks else ""))
        return tuple(names)


Draw = Callable[[np.random.Generator, int], Hidden]
"""Hides something in a deck of so many tracks."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise. `{tracks}` in the task stands for the tracks that it is about."""

    name: str
    title: str
    grade: int
    """1 easy to 5 hard."""
    task: str
    teaches: str
    expert: str
    """What somebody with long practice would have done; common practice, no source."""
    draw: Draw
    tracks: int = 4
    speed_ips: float = 15.0
    sets: tuple[str, ...] = ()
    """Trimmers that have to stand right at the end."""
    asks: bool = False
    """Whether it has to be said what is wrong."""
    begin: Mapping[str, Any] | None = None
    """The command that begins what the bench has for it; None: by the meters alone."""
    only_those_tracks: bool = False
    """Whether that command leaves all other tracks alone."""


WRONGS: Mapping[str, tuple[str, int]] = {
    "crossed": ("two crossed tracks", 2),
    "polarity": ("a track reversed in polarity", 1),
    "dead": ("a dead track", 1),
    "left_ready": ("a track that records although it is safe", 1),
    "monitor_input": ("the monitor stands on input", 0),
    "noise_reduction": ("noise reduction left in the returns", 0),
    "card": ("a bad reproduce amplifier (card)", 1),
    "dirty": ("dirty heads", 0),
    "worn": ("a worn reproduce head", 0),
    "hum": ("hum on all tracks", 0),
    "slow": ("a capstan that runs slow", 0),
    "weak_erase": ("weak erasure", 0),
    "wrong_tape": ("a calibration tape of another fluxivity", 0),
    "wrong_tape:speed": ("a calibration tape of another speed", 0),
    "wrong_tape:equalisation": ("a calibration tape of another equalisation", 0),
    "wrong_tape:upside_down": ("a calibration tape wound the wrong way round", 0),
    "turned reproduce_level": ("a reproduce level that somebody turned", 1),
    "turned reproduce_high": ("a reproduce high end that somebody turned", 1),
    "turned reproduce_azimuth": ("a reproduce azimuth that is off", 0),
    "turned bias": ("a bias that somebody turned", 1),
    "turned record_high": ("a record high end that somebody turned", 1),
}
"""What can be answered: the words, and how many tracks belong to it."""
