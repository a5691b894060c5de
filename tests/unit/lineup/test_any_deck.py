"""The procedure on decks that are built otherwise; what is true is the figures deck's own."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fluxbench.base import DeckError, FluxbenchError
from fluxbench.lineup import plan_from_state
from fluxbench.lineup._stages_record import bias_stage, record_level, verify
from fluxbench.lineup._stages_reproduce import reproduce_azimuth
from fluxbench.trade import translate_over_bias
from tests.decks.figures_deck import ALL, FiguresDeck, FiguresRehearsal, sections
from tests.decks.standing import Stages


def plan_of(told: dict[str, Any] | None = None, **deck: Any) -> Any:
    """The plan of a figures deck whose stock or calibration sheet tells this besides."""
    figures = FiguresDeck(**deck)
    calibration, stock = figures.load("calibration"), figures.load("stock")
    for sheet in (calibration["data_sheet"], stock["data_sheet"]):
        sheet.update({k: v for k, v in (told or {}).items() if k in sheet})
    return plan_from_state(calibration, stock)


@pytest.mark.parametrize("clicks", [False, True])
@pytest.mark.parametrize(("step_db", "seed"), [(0.1, 1), (0.5, 2)])
def test_steps_end_on_the_nearest_and_it_is_read_right(
    step_db: float, seed: int, clicks: bool
) -> None:
    deck = FiguresDeck(seed=seed, steps_db={"record_level": step_db}, clicks=clicks)
    rehearsal = FiguresRehearsal(deck, course=record_level)
    view = rehearsal.run(200.0)
    assert view.closed
    true_db = deck.returns_db(1000.0)
    assert np.all(np.abs(true_db) <= step_db / 2.0 + 0.03), true_db
    last = {entry["track"]: entry["reading_db"] for entry in rehearsal.journal("taken")}
    for track, reading_db in last.items():  # a turn may still be on its way when one is taken
        assert reading_db == pytest.approx(true_db[track - 1], abs=0.02)
    for track in np.flatnonzero(np.abs(true_db) > 0.055):
        said = [n for n in view.notes if f"track {track + 1} moves in steps of about" in n]
        assert len(said) == 1
        assert float(said[0].split("about ")[1].split(" ")[0]) == pytest.approx(step_db, abs=0.03)


@pytest.mark.parametrize("seed", [1, 2, 4, 6])
def test_bias_in_steps_ends(seed: int) -> None:
    deck = FiguresDeck(seed=seed, steps_db={"bias": 0.4}, master=["bias"])
    view = FiguresRehearsal(deck, course=bias_stage).run(120.0)
    assert view.closed
    assert any("bias of all tracks moves in steps of about" in note for note in view.notes)
    assert deck.over_bias_db() == pytest.approx([2.8, 2.8], abs=0.35)


def test_a_master_of_bias_moves_every_track() -> None:
    deck = FiguresDeck(tracks=4, seed=2, master=["bias"])
    deck.off["bias"][3] += 0.7
    rehearsal = FiguresRehearsal(deck, course=bias_stage)
    view = rehearsal.run(150.0)
    assert view.closed
    assert {track for _, kind, track in rehearsal.technician.turned if kind == "bias"} == {None}
    true_db = deck.over_bias_db()
    assert float(true_db.mean()) == pytest.approx(2.8, abs=0.1)
    (left,) = rehearsal.journal("as left")
    assert left["over_bias_db"] == pytest.approx(true_db, abs=0.1)
    assert any("bias of track 4 stands" in note for note in view.notes)


def test_tracks_that_are_not_used_are_left_alone() -> None:
    deck = FiguresDeck(tracks=3, seed=2)
    found_db = deck.off["record_level"].copy()
    rehearsal = FiguresRehearsal(deck, course=record_level)
    plan = replace(plan_of(tracks=3, seed=2), unused=frozenset({1}))
    rehearsal.lineup = Stages(plan, record_level)
    assert rehearsal.run(150.0).closed
    assert deck.state()["ready"] == [1, 3]
    assert deck.off["record_level"][1] == found_db[1]
    assert deck.returns_db(1000.0)[[0, 2]] == pytest.approx(0.0, abs=0.06)
    (left,) = rehearsal.journal("as left")
    assert [reading is None for reading in left["reading_db"]] == [False, True, False]


def test_a_trimmer_at_its_end_is_left_and_said() -> None:
    deck = FiguresDeck(tracks=1, end_db={"record_level": 0.3})
    view = FiguresRehearsal(deck, course=record_level).run(400.0)
    assert view.closed
    for track, off_db in enumerate(-deck.returns_db(1000.0), 1):
        assert f"record level of track {track} is not in: {off_db:+.2f} dB are left" in view.notes


def test_the_angle_is_read_where_only_the_record_head_is_set() -> None:
    deck = FiguresDeck(without=["reproduce_azimuth"])
    rehearsal = FiguresRehearsal(deck, course=reproduce_azimuth)
    assert rehearsal.run(60.0).closed
    assert rehearsal.lineup.azimuth_left_arcmin == pytest.approx(
        deck.off["reproduce_azimuth"][0], abs=0.05
    )


@pytest.mark.parametrize("kind", ALL)
def test_a_trimmer_that_is_missing_is_said(kind: str) -> None:
    plan = plan_of(without=[kind])
    assert kind not in plan.trimmers
    (remark,) = plan.remarks
    assert remark.startswith(f"the deck has no trimmer {kind.replace('_', ' ')!r}: ")


def test_trimmers_of_another_kind_are_left_and_said() -> None:
    plan = plan_of(master=["record_level"])
    assert "record_level" not in plan.trimmers
    assert plan.remarks == (
        "the deck has a trimmer 'record level' for all tracks; it is left as it is",
    )


def test_a_plain_deck_has_no_remarks() -> None:
    assert plan_of().remarks == ()


def test_another_speed_or_gap_is_translated_and_said() -> None:
    # The figures are those of `translate_over_bias`, tested against its sources by itself.
    plan = plan_of({"record_gap_um": 6.0})
    wanted = translate_over_bias(2.8, 10_000.0, 15.0, 6.0, to_record_gap_um=9.0)
    assert plan.over_bias_db == pytest.approx(wanted.drop_db)
    assert plan.over_bias_hz == 10_000.0
    assert "is an estimate" in plan.remarks[0]
    plan = plan_of({"speed_ips": 30.0, "over_bias_db": 1.8})
    assert plan.over_bias_db > 2.5
    assert plan.over_bias_hz == 10_000.0
    assert "30 in/s" in plan.remarks[0]


def test_fringing_that_is_not_known_is_said() -> None:
    # About 0.5 dB at 1 kHz on a 1 mm track at 15 in/s: PRACTICE of the trade.
    plan = plan_of({"width": "full", "fringing_compensated": "unknown"})
    assert "1 kHz reads 0.4 dB high" in plan.remarks[0] or "1 kHz reads 0.5 dB" in plan.remarks[0]
    assert plan_of({"width": "full", "fringing_compensated": "for format"}).remarks == ()


@pytest.mark.parametrize("lost", ["over_bias_db", "sections", "fluxivity_nwb_per_m", "width"])
def test_what_a_sheet_lacks_is_one_line(lost: str) -> None:
    calibration, stock = FiguresDeck().load("calibration"), FiguresDeck().load("stock")
    for sheet in (calibration["data_sheet"], stock["data_sheet"]):
        sheet.pop(lost, None)
    with pytest.raises(DeckError, match=lost):
        plan_from_state(calibration, stock)
    stock["data_sheet"]["over_bias_db"] = calibration["data_sheet"][lost] = None
    with pytest.raises(DeckError, match=r"cannot be used|does not tell"):
        plan_from_state(calibration, stock)


def test_a_tape_without_short_waves_is_told_at_once() -> None:
    with pytest.raises(FluxbenchError, match="10 kHz"):
        plan_of(reel=sections((1000.0, 0.0, 20.0)))


def test_a_turn_that_is_refused_once_is_made_again() -> None:
    turns = 0

    def hears(call: str) -> None:
        nonlocal turns
        turns += call == "turn"
        if call == "turn" and turns == 2:
            raise DeckError("not now")

    deck = FiguresDeck(hears=hears)
    rehearsal = FiguresRehearsal(deck, course=record_level)
    assert rehearsal.run(120.0).closed
    assert np.all(np.abs(deck.returns_db(1000.0)) < 0.06)


def test_a_deck_that_refuses_every_turn_is_given_up() -> None:
    def hears(call: str) -> None:
        if call == "turn":
            raise DeckError("out of order")

    with pytest.raises(DeckError, match="out of order"):
        FiguresRehearsal(FiguresDeck(hears=hears), course=record_level).run(60.0)


def test_a_tape_that_winds_slowly_is_waited_for() -> None:
    reel = sections((1000.0, 0.0, 30.0), (10_000.0, -10.0, 30.0))
    deck = FiguresDeck(reel=reel, winds=6.0)
    rehearsal = FiguresRehearsal(deck, course=reproduce_azimuth)
    assert rehearsal.run(120.0).closed
    assert len(rehearsal.journal("as left")) == 1
    assert not rehearsal.lineup.view.stopped


def test_recording_goes_on_after_the_end_of_the_reel() -> None:
    deck = FiguresDeck(reel_s=12.0)
    rehearsal = FiguresRehearsal(deck, course=verify)
    view = rehearsal.run(120.0)
    assert (view.closed, view.stopped) == (True, None)
    assert len(rehearsal.journal("response")) == 1
