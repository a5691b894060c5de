"""A deck of two speeds: trimmers of its own for each, the heads the same."""

import threading
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from fluxbench.base import DeckError
from fluxbench.deck import KeptDeck
from fluxbench.lineup import PartOfLineUp, plan_from_state
from tests.decks.standing import with_hands


def deck_of(tracks: int) -> KeptDeck:
    return KeptDeck(None, threading.Lock(), {"tracks": tracks, "seed": 3})


def turned(deck: KeptDeck, trimmer: str, turns: float, track: int | None = None) -> None:
    deck.turn(trimmer, turns, track)
    send = np.zeros((4800, deck.tracks), np.float32)
    while deck.state()["turning"]:
        deck.process(send)


def test_each_speed_keeps_its_trimmers_and_the_heads_are_shared() -> None:
    deck = deck_of(2)
    found = deck.truth()["residual"]
    turned(deck, "reproduce_level", 2.0, 1)
    turned(deck, "reproduce_azimuth", 1.0)
    left = deck.truth()["residual"]
    stands = deck.state()["trimmers"]["stands_turns"]
    assert abs(left["reproduce_level_db"][0] - found["reproduce_level_db"][0]) > 0.2

    assert deck.choose_speed(30.0)["speed_ips"] == 30.0
    fast = deck.truth()["residual"]
    assert fast["reproduce_level_db"][0] == pytest.approx(found["reproduce_level_db"][0], abs=0.05)
    assert fast["reproduce_azimuth_arcmin"] == pytest.approx(left["reproduce_azimuth_arcmin"])
    turned(deck, "reproduce_level", -2.0, 2)
    turned(deck, "reproduce_azimuth", -1.0)

    deck.choose_speed(15.0)
    again = deck.truth()["residual"]
    assert deck.state()["trimmers"]["stands_turns"]["reproduce_level"] == stands["reproduce_level"]
    assert again["reproduce_level_db"] == pytest.approx(left["reproduce_level_db"], abs=0.01)
    assert again["reproduce_azimuth_arcmin"] == pytest.approx(
        found["reproduce_azimuth_arcmin"], abs=0.1
    )


def test_a_card_has_the_trimmers_of_all_speeds_with_it() -> None:
    deck = deck_of(2)
    turned(deck, "bias", 3.0, 1)
    there = deck.truth()["residual"]["over_bias_db"]
    deck.choose_speed(30.0)
    deck.swap("cards", [1, 2])
    deck.choose_speed(15.0)
    deck.swap("cards", [1, 2])
    assert deck.truth()["residual"]["over_bias_db"] == pytest.approx(there)


@pytest.mark.parametrize("speed_ips", [0.0, -15.0, 22.0])
def test_a_speed_that_the_deck_does_not_have_is_refused(speed_ips: float) -> None:
    deck = deck_of(1)
    with pytest.raises(DeckError) as refused:
        deck.choose_speed(speed_ips)
    assert "\n" not in str(refused.value)
    assert deck.state()["speed_ips"] == 15.0


def reproduce_side_of(deck: KeptDeck) -> Mapping[str, Any]:
    """Line up the reproduce side with the practising technician; what is left, by the truth."""
    plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
    with_hands(PartOfLineUp(plan, ("reproduce",)), deck, 600.0)
    return deck.truth()["residual"]


def test_two_speeds_are_lined_up_one_after_the_other() -> None:
    """What was set at the first speed stands after the second one was lined up."""
    deck = deck_of(2)
    first = reproduce_side_of(deck)
    deck.choose_speed(30.0)
    second = reproduce_side_of(deck)
    deck.choose_speed(15.0)
    for residual in (first, second, deck.truth()["residual"]):
        assert np.abs(residual["reproduce_level_db"]).max() < 0.15
        assert np.abs(residual["reproduce_high_db"]).max() < 0.3
        assert abs(residual["reproduce_azimuth_arcmin"]) < 0.6
