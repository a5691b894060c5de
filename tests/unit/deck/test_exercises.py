"""Exercises are judged by closed truth: what is left is known, because the test put it there."""

import json
import threading
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.base import DeckError
from fluxbench.deck import KeptDeck, PracticeDeck
from fluxbench.deck._exercises import EXERCISES, WRONGS, Judge, exercise_named, hidden_in, set_up
from fluxbench.deck._faults import faults_named

RATE_HZ = 8000
"""Nothing here looks at samples."""


@cache
def begun(name: str, seed: int) -> tuple[Judge, PracticeDeck, dict[str, NDArray[np.float64]]]:
    """The judge, the deck that he has seen, and what its trimmers did then."""
    exercise = exercise_named(name)
    deck = set_up(exercise, seed, RATE_HZ)
    return Judge(exercise, hidden_in(exercise, seed), deck), deck, deck.settings


def stood(name: str, seed: int) -> PracticeDeck:
    """The deck as it was set up."""
    _, deck, settings = begun(name, seed)
    deck.put(settings)
    return deck


def judged(
    name: str, seed: int, deck: PracticeDeck, tape_s: float = 0.0, answers: Any = ()
) -> dict[str, Any]:
    return begun(name, seed)[0].verdict(deck, tape_s, answers)


def right_answers(name: str, seed: int) -> list[dict[str, Any]]:
    wrong = hidden_in(exercise_named(name), seed).wrong
    return [{"what": what, "tracks": list(tracks)} for what, tracks in wrong]


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda one: one.name)
def test_right_is_full_marks_and_nothing_done_is_a_failure(exercise: Any) -> None:
    """Except where nothing is what was to be done, which some seeds hide."""
    seed = 1
    hidden = hidden_in(exercise, seed)
    assert faults_named(hidden.faults, exercise.tracks)
    assert all(name in WRONGS for name, _ in hidden.wrong)

    untouched = judged(exercise.name, seed, stood(exercise.name, seed))
    assert untouched["passed"] is False
    assert untouched["marks"] <= 0.4 * untouched["of"]

    deck = stood(exercise.name, seed)
    ideal = deck.lined_up()
    settings = deck.settings
    for trimmer in exercise.sets:
        settings[trimmer] = ideal[trimmer]
    deck.put(settings)
    done = judged(exercise.name, seed, deck, 0.0, right_answers(exercise.name, seed))
    assert done["passed"] is True
    assert done["marks"] == done["of"] > 0
    assert done["needless"] == []
    assert max([abs(row["left"]) for row in done["settings"]], default=0.0) < 0.02


def test_what_is_left_is_told_in_its_unit() -> None:
    """A reproduce trimmer in dB moves what it is judged by as much: the same factor."""
    deck = stood("one-level", 1)  # of track 4
    settings = deck.lined_up()
    settings["reproduce_level"][3] += 0.2
    settings["sync_level"][0] += 0.5
    deck.put(settings)
    verdict = judged("one-level", 1, deck)
    (row,) = verdict["settings"]
    assert (row["track"], row["verdict"], row["unit"]) == (4, "near", "dB")
    assert row["left"] == pytest.approx(0.2, abs=0.005)
    assert verdict["passed"] is True
    moved = verdict["needless"]
    assert [(m["trimmer"], m["track"]) for m in moved] == [("sync_level", 1)]
    assert moved[0]["moved"] == pytest.approx(0.5, abs=0.01)
    assert verdict["marks"] == judged("one-level", 1, _with(deck, sync_off=0.0))["marks"] - 1

    deck = stood("relapped-head", 1)
    settings = deck.lined_up()
    settings["reproduce_azimuth"][0] = -0.9  # arc-minutes; on 1 inch 0.3 set, 0.6 accepted
    deck.put(settings)
    (row,) = judged("relapped-head", 1, deck)["settings"]
    assert (row["left"], row["verdict"]) == (pytest.approx(-0.9, abs=0.01), "out")


def _with(deck: PracticeDeck, sync_off: float) -> PracticeDeck:
    settings = deck.settings
    settings["sync_level"] = deck.lined_up()["sync_level"] + sync_off
    deck.put(settings)
    return deck


def test_more_tape_than_the_expert_costs_marks_and_a_wiped_tape_all() -> None:
    deck = set_up(exercise_named("one-bias"), 1, RATE_HZ)  # of its own: it is wiped
    deck.put(deck.lined_up())
    quick, slow = (judged("one-bias", 1, deck, tape_s) for tape_s in (0.0, 100_000.0))
    expert_s = quick["expert"]["tape_s"]
    assert expert_s is not None
    assert expert_s > 0.0
    assert quick["marks"] - slow["marks"] == 2
    assert slow["passed"] is True
    assert judged("one-bias", 1, deck, 2.5 * expert_s + 20.0)["marks"] == quick["marks"] - 1
    deck.load("calibration")
    deck.transport("record", [1])
    deck.process(np.zeros((4 * RATE_HZ, 4), np.float32))
    assert deck.truth()["calibration_wiped"]
    wiped = judged("one-bias", 1, deck)
    assert (wiped["wiped"], wiped["passed"], wiped["marks"]) == (True, False, 0)


def test_answers_are_right_half_right_or_cost_marks() -> None:
    name, seed = "before-any-tape", 2  # polarity of track 2
    assert hidden_in(exercise_named(name), seed).wrong == (("polarity", (2,)),)

    def marks(*answers: tuple[str, list[int]]) -> tuple[list[str], int]:
        given = [{"what": what, "tracks": tracks} for what, tracks in answers]
        verdict = judged(name, seed, stood(name, seed), 1e6, given)
        return [row["verdict"] for row in verdict["answers"]], verdict["marks"]

    assert marks(("polarity", [2])) == (["right"], 2)
    assert marks(("polarity", [3])) == (["another track"], 1)
    assert marks(("polarity", [2]), ("hum", [])) == (["right", "not so"], 1)
    assert marks(("dead", [2])) == (["missed", "not so"], 0)


def test_while_it_runs_nothing_tells_what_it_hides(tmp_path: Path) -> None:
    """And it outlives its process; left, the deck from before stands there as it stood."""
    made_as = {"tracks": 2, "rate_hz": RATE_HZ, "seed": 5}
    path, lock = tmp_path / "deck", threading.Lock()
    deck = KeptDeck(path, lock, made_as)
    deck.start()
    try:
        before = deck.truth()
        deck.begin_exercise("left-by-somebody", 3)
        told = json.dumps([deck.exercise(), deck.exercises(), deck.state()])
        for secret in ("monitor_input:", 'verdict": {', "made_as", "residual", "teaches"):
            assert secret not in told
        assert deck.exercise()["seed"] is None
        assert deck.faults()["on"] is None
        for refused in (
            deck.truth,
            deck.renew,
            lambda: deck.switch_faults([]),
            lambda: deck.swap("cards", [1, 2]),
        ):
            with pytest.raises(DeckError, match="hand it in first"):
                refused()
        deck.load("stock")
        deck.transport("play")
        for _ in range(30):
            deck.process(np.zeros((RATE_HZ, 8), np.float32))
    finally:
        deck.close()
    deck = KeptDeck(path, lock, made_as)
    now = deck.exercise()
    assert now["exercise"]["name"] == "left-by-somebody"
    assert 25.0 < now["tape_s"] < 30.0  # less the second that it was wound
    with pytest.raises(DeckError, match="nothing is called"):
        deck.hand_in("one", [{"what": "gremlins", "tracks": []}])
    with pytest.raises(DeckError, match="belongs to 1 tracks"):
        deck.hand_in("one", [{"what": "dead", "tracks": []}])
    judged_as = deck.hand_in("one", right_answers("left-by-somebody", 3))
    assert judged_as["verdict"]["passed"] is True
    assert judged_as == deck.hand_in("two", [])  # it stands
    assert deck.faults()["on"] == ["monitor_input", "polarity:4"]
    deck.leave()
    assert deck.exercise() == {"exercise": None}
    assert deck.truth() == before
