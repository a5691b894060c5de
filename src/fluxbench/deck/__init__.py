"""The practice deck: a physical model with trimmers, tapes and faults."""

from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._faults import FAULTS
from fluxbench.deck._stocks import STOCKS

__all__ = ["FAULTS", "STOCKS", "PracticeDeck"]
