"""Practice as a school: decks with something hidden in them, a task, and a judge."""

from fluxbench.deck._exercises._judge import Judge
from fluxbench.deck._exercises._kinds import WRONGS, Exercise, Hidden
from fluxbench.deck._exercises._list import EXERCISES, exercise_named
from fluxbench.deck._exercises._set_up import hidden_in, set_up, task_of, told_of

__all__ = [
    "EXERCISES",
    "WRONGS",
    "Exercise",
    "Hidden",
    "Judge",
    "exercise_named",
    "hidden_in",
    "set_up",
    "task_of",
    "told_of",
]
