"""The practising technician and the lockstep loop; residuals against the deck's inner truth."""

from fluxbench.rehearsal._demo_book import write_demo_book
from fluxbench.rehearsal._needle import rehearse_needle
from fluxbench.rehearsal._rehearse import Rehearsed, rehearse_guided
from fluxbench.rehearsal._technician import Technician

__all__ = ["Rehearsed", "Technician", "rehearse_guided", "rehearse_needle", "write_demo_book"]
