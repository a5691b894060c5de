"""A tired technician errs at one turn in five; the deck is right in the end, or it is said."""

import os
from collections.abc import Sequence

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup._stages_record import bias_stage, record_level
from fluxbench.links import DeckLink
from fluxbench.rehearsal import rehearse_guided
from tests.decks.careless_hands import CarelessHands
from tests.decks.figures_deck import FiguresDeck, FiguresRehearsal
from tests.decks.standing import Course

LONG = bool(os.environ.get("FLUXBENCH_LONG"))
SEEDS = range(1, 101) if LONG else range(1, 11)
TRACKS = 4
WITHIN = {
    "over_bias_db": 0.3, "record_level_db": 0.1, "record_high_db": 0.3, "low_end_db": 0.3,
    "reproduce_level_db": 0.1, "reproduce_high_db": 0.2, "sync_level_db": 0.1,
    "sync_high_db": 0.3,
}  # fmt: skip
"""What the plan's hold bands and the errors of readings allow one track at the worst."""


SAID_OF = {"over_bias_db": "bias", "record_high_db": "record high end"}
"""What notes call it, where that is not its name without the unit."""


def said_of(name: str) -> str:
    """What notes call a figure."""
    return SAID_OF.get(name, name.removesuffix("_db").replace("_", " "))


def without_said(off_db: Sequence[float], name: str, notes: Sequence[str]) -> np.ndarray:
    """How far tracks stand off, without those of which the bench says that they are not set."""
    off = np.abs(np.array(off_db))
    for track in range(len(off)):
        of_it = f"{name} of track {track + 1}"
        if any(f"{of_it} {said}" in note for note in notes for said in ("is not", "stands")):
            off[track] = 0.0
    return off


def set_carelessly(seed: int, course: Course, most_s: float) -> tuple[FiguresDeck, Sequence[str]]:
    """A deck after a stage of its line-up by careless hands, and what the bench noted."""
    deck = FiguresDeck(TRACKS, seed=seed)
    rehearsal = FiguresRehearsal(deck, seed, course=course)
    rehearsal.technician._deck = CarelessHands(deck, TRACKS, share=0.2, seed=seed)
    view = rehearsal.run(most_s)
    assert view.closed
    return deck, view.notes


@pytest.mark.parametrize("seed", SEEDS)
def test_levels_end_right(seed: int) -> None:
    deck, notes = set_carelessly(seed, record_level, 900.0)
    assert without_said(deck.returns_db(1000.0), "record level", notes).max() <= 0.1


@pytest.mark.parametrize("seed", SEEDS if LONG else (1, 3))
def test_bias_ends_right(seed: int) -> None:
    deck, notes = set_carelessly(seed, bias_stage, 1500.0)
    assert without_said(deck.over_bias_db() - 2.8, "bias", notes).max() <= 0.35


if LONG:

    @pytest.mark.timeout(3600)
    @pytest.mark.parametrize("seed", range(1, 6))
    def test_a_whole_line_up_goes_on_and_ends_right(seed: int) -> None:
        """Judged by the deck's own formulas, which know nothing of what was shown."""
        deck = PracticeDeck(TRACKS, 30.0, seed, 44_100)
        hands = CarelessHands(deck, TRACKS, share=0.2, seed=seed)
        done = rehearse_guided(DeckLink(deck), hands, seed)
        assert done.stopped is None
        assert sum(hands.mistakes.values()) >= 10
        worst = {
            name: without_said(done.line["residual"][name], said_of(name), done.notes).max()
            for name in WITHIN
        }
        assert {name: off for name, off in worst.items() if off > WITHIN[name]} == {}
