"""The procedure of a line-up: pure folds over readings; no clock, no I/O, no randomness."""

from fluxbench.lineup._follow import Follower
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._peak import Peak, find_peak
from fluxbench.lineup._plan import Plan, Section, plan_from_state
from fluxbench.lineup._view import Advice, Ask, Verdict, View

__all__ = [
    "Advice",
    "Ask",
    "Follower",
    "LineUp",
    "Peak",
    "Plan",
    "Section",
    "Verdict",
    "View",
    "find_peak",
    "plan_from_state",
]
