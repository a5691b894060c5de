"""Hands at a deck that now and then turn another trimmer, the wrong way, or two at once."""

from typing import Any, Protocol

import numpy as np

MISTAKES = ("another track", "the wrong way", "two at once")


class Turned(Protocol):
    """A deck whose trimmers turn."""

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float: ...


class CarelessHands:
    """Hands of a deck; a share of the turns of single tracks goes wrong, by a seed."""

    def __init__(self, deck: Turned, tracks: int, share: float, seed: int) -> None:
        self._deck, self._tracks, self._share = deck, tracks, share
        self._rng = np.random.default_rng(seed)
        self.mistakes = dict.fromkeys(MISTAKES, 0)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._deck, name)

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """As asked, or a mistake; the seconds that the hand needs."""
        if track is None or self._rng.random() > self._share:
            return self._deck.turn(trimmer, turns, track)
        kind = MISTAKES[self._rng.integers(len(MISTAKES))]
        self.mistakes[kind] += 1
        other = track + 1 if track < self._tracks else track - 1
        if kind == "the wrong way":
            return self._deck.turn(trimmer, -turns, track)
        seconds = self._deck.turn(trimmer, turns, other)
        if kind == "two at once":
            seconds = max(seconds, self._deck.turn(trimmer, turns, track))
        return seconds
