"""The practice deck: a physical model with trimmers, tapes and faults, and a way to serve it."""

from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._faults import FAULTS
from fluxbench.deck._server import KeptDeck, serve_deck, serve_samples
from fluxbench.deck._stocks import STOCKS

__all__ = ["FAULTS", "STOCKS", "KeptDeck", "PracticeDeck", "serve_deck", "serve_samples"]
