"""How long the practising technician tries a trimmer; our own limits."""

import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import Advice, Verdict, View
from fluxbench.rehearsal import Technician


def shown(trimmer: str | None, now_s: float) -> View:
    """A screen with a trimmer that is in already, so that no hand moves; None: tape is wound."""
    if trimmer is None:
        return View("reproduce", now_s)
    words = f"{trimmer}: hold"
    advice = Advice(trimmer, None, Verdict.IN, 0, 0.0, "arcmin", 0.1, 1.0, words)
    return View("reproduce", now_s, advice=advice)


@pytest.mark.parametrize("every", [1000, 10])
def test_a_trimmer_is_passed_over_though_its_section_ends_again_and_again(every: int) -> None:
    technician = Technician(PracticeDeck(1), 1)
    given_up = []
    for second in range(330):
        view = shown(None if second % every == 9 else "reproduce_azimuth", float(second))
        technician.look(view, float(second))
        if technician.passes_over:
            given_up.append(second)
    assert [300 < second < 312 for second in given_up] == [True]


def test_another_trimmer_is_begun_with_new_patience() -> None:
    technician = Technician(PracticeDeck(1), 1)
    for second in range(500):
        trimmer = "reproduce_azimuth" if second < 250 else "record_azimuth"
        technician.look(shown(trimmer, float(second)), float(second))
        assert not technician.passes_over
