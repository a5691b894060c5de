"""Whose fault: what goes with the card is the card's, against decks whose parts are known."""

import threading
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from fluxbench.base import MisuseError
from fluxbench.deck._server._kept import KeptDeck
from fluxbench.engine import Engine
from fluxbench.lineup import WhoseFault, plan_from_state
from fluxbench.lineup._whose_fault import Told
from fluxbench.links import DeckLink
from fluxbench.measure import HOP_S
from tests.decks.figures_deck import USUAL, FiguresDeck, sections


class SwappedDeck(FiguresDeck):
    """Cards and heads of known parts, by track: dB at all frequencies and more at 10 kHz."""

    def __init__(self, **parts: Sequence[float]) -> None:
        super().__init__(4, reel=[*sections((100.0, 0.0, 30.0)), *sections((0, 0, 5), *[
            (s["frequency_hz"], s["level_db"], 40.0) for s in USUAL])[1:]])  # fmt: skip
        self.off["reproduce_azimuth"][:] = 0.0
        nothing = (0.0,) * 4
        self.parts = {name: list(parts.get(name, nothing)) for name in ("card", "head", "place")}
        self.plugged = True
        """A card that has never been out of its plug may have a bad contact."""
        self.contact_db = parts.get("contact", nothing)

    def _side_db(self, side: str, f: float, t: int) -> float:
        contact_db = self.contact_db[t] if self.plugged else 0.0
        return sum(part[t] for part in self.parts.values()) * (f / 10_000.0) ** 0.2 + contact_db

    def swap(self, what: str, tracks: Sequence[int]) -> None:
        """Have them change places."""
        part = self.parts[{"cards": "card", "head leads": "head"}[what]]
        one, other = (track - 1 for track in tracks)
        part[one], part[other] = part[other], part[one]
        self.plugged = False


def asked(deck: Any, kind: str, values: dict[str, Any]) -> None:
    """Do what is asked."""
    call = {"load": deck.load, "locate": deck.locate, "swap": deck.swap}.get(kind, deck.transport)
    call(**values)


def found_on(deck: SwappedDeck, between: Sequence[int] = (3, 4)) -> dict[str, Any]:
    """The entry that tells whose fault it is."""
    told = WhoseFault(plan_from_state(deck.load("calibration"), deck.load("stock")), between)
    done, swaps = 0, []
    for _ in range(round(600.0 / HOP_S)):
        if told.view.closed:
            break
        told.see(deck.hop(told.signal, told.tones))
        ask = told.view.ask
        if ask is not None and ask.number != done:
            asked(deck, ask.kind, dict(ask.values))
            swaps += [ask.values["what"]] if ask.kind == "swap" else []
            done = ask.number
            told.acknowledge(done)
    assert told.view.closed
    assert told.view.stopped is None
    entry = next(e for e in told.journal if e["what"] == "whose fault")
    return {**entry, "swaps": swaps}


def test_a_card_takes_its_fault_along() -> None:
    entry = found_on(SwappedDeck(card=(0, 0, -4.0, 0.5), head=(0, 0, 0.3, 0)))
    at_10k = entry["frequencies_hz"].index(10_000.0)
    (row,) = entry["rows"]
    assert row["went_db"][at_10k] == pytest.approx(-4.5, abs=0.1)
    assert row["stayed_db"][at_10k] == pytest.approx(0.3, abs=0.1)
    assert entry["swaps"] == ["cards", "cards"]  # and back: every card is where it was
    assert "went with the card" in entry["words"]
    assert "stayed" not in entry["words"]


def test_what_stays_is_the_heads_or_the_places() -> None:
    head = found_on(SwappedDeck(card=(0, 0, -0.2, 0), head=(0, 0, -3.0, 0)))
    assert head["swaps"] == ["cards", "cards", "head leads", "head leads"]
    assert "stayed with the place; " in head["words"]
    assert head["words"].endswith("went with the head")
    place = found_on(SwappedDeck(place=(0, 0, -3.0, 0)))
    assert "stayed with the place: plug, wiring" in place["words"]


def test_both_have_a_part() -> None:
    entry = found_on(SwappedDeck(card=(0, 0, -2.0, 0), head=(0, 0, -2.0, 0)))
    assert "went with the card, " in entry["words"]
    assert "stayed with the place" in entry["words"]


def test_a_contact_is_told_from_a_card() -> None:
    entry = found_on(SwappedDeck(contact=(0, 0, -3.0, 0)))
    assert "a contact" in entry["words"]


def test_alike_tracks_have_no_fault_between_them() -> None:
    assert "no fault between them" in found_on(SwappedDeck(card=(0, 0, 0.2, 0)))["words"]


def test_a_section_that_cannot_be_read_decides_nothing() -> None:
    """The long wave does not come back: that is not taken for a difference of 0 dB."""
    nothing = np.array([[np.nan, -4.0], [np.nan, 0.1]])
    told = Told("cards", nothing, np.array([[1.0, 4.0], [0.1, 0.1]]))
    assert (told.worst, told.worst_db) == (1, 4.0)
    assert told.words(1) == "-4.0 dB (± 0.1) went with the card"


@pytest.mark.parametrize("between", [(3, 3), (0, 1), (4, 5), (3,)])
def test_tracks_that_cannot_be_are_refused(between: Sequence[int]) -> None:
    deck = SwappedDeck()
    plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
    with pytest.raises(MisuseError, match="whose fault"):
        WhoseFault(plan, between)


def test_on_the_practice_deck_the_bad_card_is_found_and_the_heads_part_is_the_heads() -> None:
    """Inner truth: what stays at 1 kHz is the efficiency of the head; no short wave counts."""
    deck = KeptDeck(None, threading.Lock(), {"tracks": 4, "seed": 3, "faults": ["card:3"]})
    efficiency_db = deck._deck._machine.reproduce.efficiency_db.copy()
    trims = deck._deck.settings["reproduce_level"].copy()
    told = WhoseFault(plan_from_state(deck.load("calibration"), deck.load("stock")), (3, 4))
    engine, done = Engine(DeckLink(deck), 4), 0
    while not told.view.closed:
        engine.send(told.signal)
        engine.listen(told.tones)
        for hop in engine.step():
            told.see(hop)
        ask = told.view.ask
        if ask is not None and ask.number != done:
            asked(deck, ask.kind, dict(ask.values))
            done = ask.number
        if not deck.state()["winding"]:
            told.acknowledge(done)
        assert engine.time_s < 400.0
    entry = next(e for e in told.journal if e["what"] == "whose fault")
    at_1k = entry["frequencies_hz"].index(1000.0)
    stayed_db = entry["rows"][0]["stayed_db"]
    assert stayed_db[at_1k] == pytest.approx(efficiency_db[2] - efficiency_db[3], abs=0.2)
    assert "went with the card" in entry["words"]
    assert np.allclose(deck._deck.settings["reproduce_level"], trims)  # all is where it was
