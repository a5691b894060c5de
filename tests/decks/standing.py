"""Some stages of a line-up on a modelled deck, with a person who does what is asked and no more."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any

from fluxbench.deck import KeptDeck, PracticeDeck
from fluxbench.engine import Engine
from fluxbench.lineup import LineUp, Plan, plan_from_state
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._steps import Leave
from fluxbench.links import DeckLink
from fluxbench.rehearsal._technician import Technician
from tests.decks.second_deck import SecondDeck

Deck = PracticeDeck | KeptDeck | SecondDeck
Course = Callable[[Bench], Procedure]


class Stages(LineUp):
    """A line-up of these stages only."""

    def __init__(self, plan: Plan, course: Course) -> None:
        self._only = course
        super().__init__(plan)

    def _run(self) -> Procedure:
        yield
        with suppress(Leave):
            yield from self._only(self)


def with_hands(lineup: LineUp, deck: Deck, most_s: float) -> None:
    """Have the practising technician do a line-up, which must be over after so long."""
    technician, engine = Technician(deck, 1), Engine(DeckLink(deck), deck.tracks)
    while not lineup.view.closed:
        engine.send(lineup.signal)
        engine.listen(lineup.tones)
        for hop in engine.step():
            lineup.see(hop)
        answered = technician.look(lineup.view, engine.time_s)
        if technician.declines is not None:
            lineup.decline(technician.declines)
        if answered is not None:
            lineup.acknowledge(answered)
        assert engine.time_s < most_s


class Standing:
    """A deck, the bench beside it, and somebody who presses keys and turns nothing.

    Unless `trusting`, he goes no further where the bench doubts. Of the calibration tape only the
    first `sections` are known, or all of them.
    """

    def __init__(
        self, deck: Deck, course: Course, trusting: bool = False, sections: int | None = None
    ) -> None:
        self.deck = deck
        self._trusting = trusting
        calibration, stock = deck.load("calibration"), deck.load("stock")
        plan = plan_from_state(calibration, stock)
        self.lineup = Stages(replace(plan, sections=plan.sections[:sections]), course)
        self._done = 0
        self._engine = Engine(DeckLink(deck), deck.tracks)

    def run(self, seconds: float, until: str | None = None) -> "Standing":
        """Go on until that is said or the stages are over, or so much time has passed."""
        lineup, engine = self.lineup, self._engine
        until_s = engine.time_s + seconds
        while engine.time_s < until_s and not lineup.view.closed:
            if until is not None and until in self.said:
                break
            engine.send(lineup.signal)
            engine.listen(lineup.tones)
            for hop in engine.step():
                lineup.see(hop)
            ask = lineup.view.ask
            if ask is not None and ask.kind == "doubt" and not self._trusting:
                lineup.decline(ask.number)
            elif ask is not None and ask.number != self._done:
                self._do(ask.kind, ask.values)
                self._done = ask.number
            if not self.deck.state().get("winding"):
                lineup.acknowledge(self._done)
        return self

    def _do(self, kind: str, values: Mapping[str, Any]) -> None:
        if kind == "load":
            self.deck.load(values["tape"])
        elif kind == "locate":
            self.deck.locate(**values)
        else:
            self.deck.transport(**values)

    @property
    def said(self) -> str:
        """All notes, and why it stopped, in one."""
        view = self.lineup.view
        return "\n".join((*view.notes, view.stopped or ""))

    def journal(self, what: str) -> list[Mapping[str, Any]]:
        """Entries of one sort."""
        return [entry for entry in self.lineup.journal if entry["what"] == what]
