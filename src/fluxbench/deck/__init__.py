"""The practice deck: a physical model with trimmers, tapes and faults, and a way to serve it."""

from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._exercises import EXERCISES, Judge, exercise_named, hidden_in, set_up, told_of
from fluxbench.deck._faults import FAULTS
from fluxbench.deck._machine import Machine, build_machine
from fluxbench.deck._server import KeptDeck, serve_deck, serve_samples
from fluxbench.deck._stocks import STOCKS, stock_named
from fluxbench.deck._truth import Truth

__all__ = [
    "EXERCISES",
    "FAULTS",
    "STOCKS",
    "Judge",
    "KeptDeck",
    "Machine",
    "PracticeDeck",
    "Truth",
    "build_machine",
    "exercise_named",
    "hidden_in",
    "serve_deck",
    "serve_samples",
    "set_up",
    "stock_named",
    "told_of",
]
