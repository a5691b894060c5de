"""A track whose bias did not come in, as the record head's angle is set: it tells nothing of it."""

from dataclasses import replace
from typing import Any

import numpy as np

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import plan_from_state
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._stages_record import bias_stage, record_azimuth, tell_bias_off
from tests.decks.standing import Stages, Standing, with_hands


def set_azimuth(tracks: int, told: bool) -> tuple[float, Any, Stages]:
    """A deck set as it should be but for its last track: bias far under, high end up to match.

    What is left of the angle in truth, what is written of it, and the line-up.
    """
    deck = PracticeDeck(tracks=tracks, seed=4)
    deck._set_ideal()
    deck.turn("record_azimuth", 2.5)
    deck.turn("record_high", 3.0, track=tracks)
    deck.turn("bias", -3.0, track=tracks)
    plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
    lineup = Stages(plan, lambda bench: record_azimuth(bench, "azimuth again"))
    lineup.bias_off[tracks - 1] = told
    with_hands(lineup, deck, 600.0)
    left = [entry for entry in lineup.journal if entry["what"] == "as left"][-1]
    return deck.truth()["residual"]["record_azimuth_arcmin"], left, lineup


def test_the_other_tracks_set_the_angle() -> None:
    angle, left, lineup = set_azimuth(tracks=4, told=True)
    assert abs(angle) < lineup.plan.azimuth_tolerance_arcmin
    assert abs(angle) < 3.0 * left["error_arcmin"]
    note = "record azimuth is set by the other tracks: the bias of track 4 is not in"
    assert note in lineup.view.notes
    # Its phase is still shown: several microseconds off the line.
    assert np.abs(left["scatter_us"]).argmax() == 3


def test_without_that_it_is_set_wrongly() -> None:
    """The planted bug: what the track does to the line is real."""
    angle, left, lineup = set_azimuth(tracks=4, told=False)
    assert abs(angle) > lineup.plan.azimuth_tolerance_arcmin
    assert abs(angle) > 3.0 * left["error_arcmin"]


def test_where_too_few_are_left_the_angle_is_in_doubt() -> None:
    _, left, lineup = set_azimuth(tracks=2, told=True)
    assert left["error_arcmin"] is None
    assert [note for note in lineup.view.notes if note.startswith("record azimuth is in doubt")]


def bias_and_what_of_it(bench: Bench) -> Procedure:
    """The bias stage, and what is said of it where the record head's angle is set."""
    yield from bias_stage(bench)
    tell_bias_off(bench)


def test_a_master_that_was_passed_over_leaves_the_angle_in_doubt() -> None:
    standing = Standing(PracticeDeck(tracks=2, seed=4), bias_and_what_of_it)
    plan = replace(standing.lineup.plan, master_bias=True)
    standing.lineup = Stages(plan, bias_and_what_of_it)
    for _ in range(120):
        standing.run(0.5)
        standing.lineup.pass_over()
    assert standing.lineup.view.closed
    assert "bias is not set: the master was passed over" in standing.said
    assert "record azimuth is in doubt: the bias of track 1, 2 is not in" in standing.said
