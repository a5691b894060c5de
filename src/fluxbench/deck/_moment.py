"""A moment to come back to: what objects held, while something is worked out that may not be."""

from collections.abc import Iterable

import numpy as np


class Moment:
    """What some objects hold now, and where chance stands.

    They may replace what they hold, not write into it: arrays are not copied.
    """

    def __init__(self, objects: Iterable[object], rng: np.random.Generator) -> None:
        self._held = [(one, dict(vars(one))) for one in objects]
        self._rng, self._chance = rng, rng.bit_generator.state

    def back(self) -> None:
        """Put all of it back."""
        for one, held in self._held:
            vars(one).clear()
            vars(one).update(held)
        self._rng.bit_generator.state = self._chance
