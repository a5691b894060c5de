"""An exercise on a kept deck: while it runs, nothing of the deck's inside is told."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.base import DeckError
from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._exercises import (
    EXERCISES,
    WRONGS,
    Judge,
    exercise_named,
    hidden_in,
    set_up,
    told_of,
)

NOT_WHILE_IT_RUNS = "an exercise runs on this deck: hand it in first, or leave it"


class Practising:
    """The exercise that a deck is in, from its begin to its verdict, and the deck before it."""

    def __init__(self, kept: Mapping[str, Any] | None = None) -> None:
        """`kept` is what `kept` gave; DeckError for an exercise that is not known any more."""
        self._now: dict[str, Any] | None = dict(kept) if kept else None
        self.tape_s = float(kept["tape_s"]) if kept else 0.0
        self._judge: Judge | None = None

    @property
    def runs(self) -> bool:
        """Whether an exercise has begun and is not handed in."""
        return self._now is not None and self._now["verdict"] is None

    @property
    def kept(self) -> dict[str, Any] | None:
        """What has to outlive the process."""
        return None if self._now is None else {**self._now, "tape_s": round(self.tape_s, 2)}

    def refuse(self) -> None:
        """DeckError while an exercise runs."""
        if self.runs:
            raise DeckError(NOT_WHILE_IT_RUNS)

    def exercises(self) -> Mapping[str, Any]:
        """All exercises, easy ones first in the order they are best taken."""
        return {"exercises": [told_of(one) for one in EXERCISES]}

    def told(self) -> Mapping[str, Any]:
        """The exercise that runs or was judged, if any; what it hides only with its verdict."""
        now = self._now
        if now is None:
            return {"exercise": None}
        exercise = exercise_named(now["name"])
        told = told_of(exercise, hidden_in(exercise, now["seed"]))
        judged = now["verdict"] is not None
        return {
            "exercise": told,
            "tape_s": round(self.tape_s, 1),
            "verdict": now["verdict"],
            "seed": now["seed"] if judged else None,
            "handed_in": now["handed_in"],
        }

    def begin(self, name: str, seed: int, deck: PracticeDeck) -> PracticeDeck:
        """The deck of an exercise; the one before is kept for when it is left."""
        if seed < 0:
            raise DeckError(f"a seed counts from 0, it cannot be {seed}")
        exercise = exercise_named(name)
        new = set_up(exercise, seed, deck.rate_hz)
        self._judge = Judge(exercise, hidden_in(exercise, seed), new)
        before = deck.kept() if self._now is None else self._now["before"]
        self._now = {"name": name, "seed": seed, "before": before, "verdict": None,
                     "handed_in": None}  # fmt: skip
        self.tape_s = 0.0
        return new

    def hand_in(self, deck: PracticeDeck, key: str, found: Sequence[Mapping[str, Any]]) -> None:
        """Have it judged, once, under the `key` of who hands it in; it stands from then on."""
        now = self._now
        if now is None:
            raise DeckError("no exercise runs on this deck; begin one")
        if now["verdict"] is not None:
            return
        exercise, seed = exercise_named(now["name"]), now["seed"]
        _check_answers(found, deck.tracks)
        if self._judge is None:  # begun in another process
            start = set_up(exercise, seed, deck.rate_hz)
            self._judge = Judge(exercise, hidden_in(exercise, seed), start)
        verdict = self._judge.verdict(deck, self.tape_s, found)
        self._now = {**now, "verdict": verdict, "handed_in": key}

    def leave(self) -> PracticeDeck | None:
        """The deck that stood here before, if an exercise is left."""
        if self._now is None:
            return None
        before, self._now = self._now["before"], None
        return PracticeDeck.from_kept(before)


def _check_answers(found: Sequence[Mapping[str, Any]], tracks: int) -> None:
    for one in found:
        what, named = one["what"], one["tracks"]
        if what not in WRONGS:
            raise DeckError(f"nothing is called {what!r}; there are {', '.join(WRONGS)}")
        needed = WRONGS[what][1]
        if len(set(named)) != needed or not all(1 <= track <= tracks for track in named):
            raise DeckError(f"{what} belongs to {needed} tracks from 1 to {tracks}, not {named}")
