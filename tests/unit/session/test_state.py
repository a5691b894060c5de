"""What stands on the screen follows from the journal alone."""

from typing import Any

from fluxbench.book import Entry, LineUpRow
from fluxbench.deck import PracticeDeck
from fluxbench.session._pages import plan_of
from fluxbench.session._state import EMPTY, State, begun, fold


def folded(*told: tuple[str, dict[str, Any]]) -> State:
    """The state of a one-track line-up of which so much was told."""
    deck = PracticeDeck(tracks=1)
    shown = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    plan = plan_of(shown)
    state = begun(EMPTY, LineUpRow("a", "line-up", "2026-01-01T00:00:00.000Z", shown), plan)
    for what, facts in told:
        entry = Entry(0, "a", "2026-01-01T00:00:00.000Z", 0.0, what, facts)
        state = {**state, **fold(state, entry, plan)}
    return state


def test_a_high_end_as_left_stands_against_its_own_target() -> None:
    """While level is off, a high end is trimmed to a target of the moment; this is not shown."""
    state = folded(
        ("stage", {"name": "reproduce"}),
        ("as found", {"trimmer": "reproduce_high", "reading_db": [-2.0], "target_db": [-1.0]}),
        ("as left", {"trimmer": "reproduce_high", "reading_db": [-1.1], "error_db": [0.01]}),
        ("as left", {"trimmer": "reproduce_high", "deviation_db": [0.05], "target_db": [-3.0]}),
    )
    (table,) = state["tables"]
    assert (table["target"], table["as_found"], table["as_left"]) == ([-3.0], [-2.0], [-2.95])
