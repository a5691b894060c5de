"""Put back: the trimmer in hand is led back to where it was found, whatever happened meanwhile.

The truth is where the deck in figures had its trimmers when it was built.
"""

import numpy as np
import pytest

from fluxbench.lineup import Advice
from fluxbench.lineup._steps import Steps
from fluxbench.lineup._way_back import WayBack
from tests.decks.figures_deck import FiguresDeck, FiguresRehearsal

PUT_BACK = ("reproduce_level", "reproduce_high", "bias", "record_high", "reproduce_azimuth")
HOLD = {"reproduce_azimuth": 0.2, "bias": 0.25}
"""Arc-minutes; else decibels, of D for bias. Where a hand is stopped, and a little noise."""


class Regretful(FiguresRehearsal):
    """Whoever has turned a trimmer of these half-way in wants it back as it was, on track 2."""

    def __init__(self, deck: FiguresDeck) -> None:
        super().__init__(deck)
        self.found = {kind: off.copy() for kind, off in deck.off.items()}
        self.told: dict[str, Advice] = {}
        self._turned = self.technician

    def run(self, most_s: float = 3000.0, until: str = "") -> object:
        look = self._turned.look

        def watched(view: object, time_s: float) -> int | None:
            self._regret(self.lineup.view.advice)
            return look(self.lineup.view, time_s)

        self._turned.look = watched  # type: ignore[method-assign]
        return super().run(most_s, until)

    def _regret(self, now: Advice | None) -> None:
        if now is None or now.trimmer not in PUT_BACK or now.track not in (2, None):
            return
        row = 0 if now.track is None else now.track - 1
        moved = abs(self.deck.off[now.trimmer][row] - self.found[now.trimmer][row])
        if moved > 0.4 and not now.goes_back and now.from_found is not None:
            self.lineup.put_back()
        if now.goes_back:
            self.told[now.trimmer] = now


@pytest.fixture(scope="module")
def rehearsal() -> Regretful:
    rehearsal = Regretful(FiguresDeck(3, seed=4))
    view = rehearsal.run(4000.0)
    assert view.closed  # type: ignore[attr-defined]
    assert view.stopped is None  # type: ignore[attr-defined]
    return rehearsal


@pytest.mark.parametrize("trimmer", PUT_BACK)
def test_it_ends_where_it_was_found_and_that_is_said(rehearsal: Regretful, trimmer: str) -> None:
    row = 0 if trimmer.endswith("azimuth") else 1
    left = rehearsal.deck.off[trimmer][row] - rehearsal.found[trimmer][row]
    assert abs(left) < HOLD.get(trimmer, 0.15)
    assert rehearsal.told[trimmer].words.endswith("back to as found")
    notes = "\n".join(rehearsal.lineup.view.notes)
    name = trimmer.replace("_", " ") + ("" if trimmer.endswith("azimuth") else " of track 2")
    assert f"{name} was put back to where it was found" in notes
    assert len(rehearsal.journal("put back", trimmer=trimmer, on=True)) == 1


def test_the_other_tracks_are_set_all_the_same(rehearsal: Regretful) -> None:
    for trimmer in ("reproduce_level", "reproduce_high", "record_level"):
        others = np.delete(rehearsal.deck.off[trimmer], 1)
        # What is put back on the reproduce side of track 2 is made up for by nobody on the others.
        assert np.abs(others).max() < 0.3, trimmer


def test_from_found_is_what_the_hand_has_moved_in_all_steps() -> None:
    """Closed form: 1 dB up in a first step, other trimmers take 0.3 off, half a dB up again."""
    way = WayBack()
    way.turned("record_high", np.array([2.0, np.nan]), np.array([3.0, 5.0]))
    assert way.origin("record_high", np.array([2.7, 5.0])) == pytest.approx([1.7, 5.0])
    way.turned("record_high", np.array([2.7, 5.0]), np.array([3.2, 5.0]))
    assert way.origin("record_high", np.array([3.2, 5.0])) == pytest.approx([1.7, 5.0])
    again = WayBack()
    again.restore(way.told())
    assert again.origin("record_high", np.array([3.2, 5.0])) == pytest.approx([1.7, 5.0])
    assert way.origin("reproduce_azimuth", 1.5) == 1.5


def test_what_was_said_last_counts_and_is_over_with_the_step() -> None:
    steps = Steps()
    steps.put_back("bias", 3, on=True)
    assert steps.goes_back("bias", 3)
    assert not steps.goes_back("bias", 2)
    resumed = Steps(steps.fresh)
    assert resumed.goes_back("bias", 3)
    steps.put_back("bias", 3, on=False)
    assert not steps.goes_back("bias", 3)
    steps.put_back("bias", 3, on=True)
    steps.keep("set bias", None, {})
    assert not steps.goes_back("bias", 3)
