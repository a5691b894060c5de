"""Line-up tones on the practice deck: in their order, slated, read back, in one piece."""

from typing import Any

import numpy as np
import pytest
import scipy.fft

from fluxbench.deck import PracticeDeck
from fluxbench.engine import Engine
from fluxbench.lineup import PrintTones, plan_from_state
from fluxbench.links import DeckLink
from fluxbench.rehearsal._technician import Technician


class Printing:
    """A deck of two tracks whose tones are printed; `sent` is what went to it."""

    def __init__(self, speed_ips: float = 15.0, seconds: float = 3.0) -> None:
        self.deck = PracticeDeck(tracks=2, speed_ips=speed_ips, seed=3)
        self.deck._set_ideal()
        self.rate_hz, self.tracks = self.deck.rate_hz, 2
        plan = plan_from_state(self.deck.load("calibration"), self.deck.load("stock"))
        self.tones = PrintTones(plan, seconds)
        self.engine = Engine(DeckLink(self), 2)
        self._technician = Technician(self.deck, 1)
        self.sent: list[Any] = []

    def process(self, send: Any) -> Any:
        self.sent.append(send[:, 0].copy())
        return self.deck.process(send)

    def step(self) -> None:
        self.engine.send(self.tones.signal)
        self.engine.listen(self.tones.tones)
        for hop in self.engine.step():
            self.tones.see(hop)
        answered = self._technician.look(self.tones.view, self.engine.time_s)
        if answered is not None:
            self.tones.acknowledge(answered)
        assert self.engine.time_s < 400.0

    def run(self) -> list[dict[str, Any]]:
        while not self.tones.view.closed:
            self.step()
        told = [e for e in self.tones.journal if e["what"] == "printed"]
        return list(told[0]["tones"]) if told else []


@pytest.fixture(scope="module")
def printed() -> tuple[Printing, list[dict[str, Any]]]:
    """A printing that is over, and its tones."""
    printing = Printing()
    return printing, printing.run()


Printed = tuple[Printing, list[dict[str, Any]]]


def test_the_tones_of_the_practice_in_order_and_read_back(printed: Printed) -> None:
    # 1 kHz, 10 kHz, 100 Hz at operating level at 15 ips (common practice, no source).
    printing, tones = printed
    assert [t["frequency_hz"] for t in tones] == [1000.0, 10_000.0, 100.0, 16_000.0]
    assert [t["level_db"] for t in tones] == [0.0] * 4
    for tone, within_db in zip(tones, (0.1, 1.5, 1.0, 4.0), strict=True):
        assert np.allclose(tone["read_db"], tone["level_db"], atol=within_db), tone
    assert printing.tones.view.stopped is None


def test_short_waves_are_lower_on_a_slow_tape() -> None:
    # -10 dB at 7.5 ips and below (common practice, no source).
    tones = Printing(7.5, 2.0).run()
    assert tones[1]["level_db"] == -10.0
    assert np.allclose(tones[1]["read_db"], -10.0, atol=0.5)


def test_as_many_pips_as_the_tones_number_stand_before_it(printed: Printed) -> None:
    printing, tones = printed
    count = len(tones)
    sent = np.concatenate(printing.sent)
    hop = printing.rate_hz // 50
    blocks = sent[: len(sent) // hop * hop].reshape(-1, hop)
    lines = np.abs(scipy.fft.rfft(blocks * np.hanning(hop), axis=1))
    strongest_hz = np.argmax(lines, axis=1) * 50.0
    pip = (np.sqrt((blocks**2).mean(axis=1)) > 0.003) & (np.abs(strongest_hz - 250.0) <= 50.0)
    begins = np.flatnonzero(np.diff(pip.astype(int)) == 1)
    assert len(begins) == count * (count + 1) // 2


def test_a_tape_that_is_wound_meanwhile_begins_anew() -> None:
    printing = Printing()
    length_s = printing.deck._works.reels["stock"].length_s
    while not (printing.tones.tones == (10_000.0,) and printing.engine.time_s > 10.0):
        printing.step()
    printing.deck._works._motion.start(printing.deck._works._frame, length_s - 0.5)
    tones = printing.run()
    assert any("begin anew" in note for note in printing.tones.view.notes)
    assert [t["number"] for t in tones] == list(range(1, len(tones) + 1))


@pytest.mark.parametrize("seconds", [0.1, 2.0])
def test_a_tone_is_long_enough_to_be_read(seconds: float) -> None:
    printing = Printing(seconds=seconds)
    assert all(tone.duration_s >= 2.0 for tone in printing.tones._line_up_tones)
