"""Bias by the short wave alone, on curves whose D turns back, with a hand that obeys.

The curves: the closed forms of the trade package (fitted constants) with a dip of the short wave
above its peak, and the kinked stock of the tests' own deck. The contact noise of S is 0.15 dB rms.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import Plan, plan_from_state
from fluxbench.lineup._one_tone import OneTone, crossed
from fluxbench.trade import long_wave_sensitivity_db, short_wave_loss_db
from tests.decks._magnetics import Stock

BIAS_DB = np.arange(-16.0, 12.0, 0.02)
WORKING_DB = 0.7
LAG_POINTS = 4
POINTS_PER_DB = 16
"""0.6 dB a second."""

Curves = Callable[[], tuple[np.ndarray, np.ndarray]]


def dipped() -> tuple[np.ndarray, np.ndarray]:
    long = long_wave_sensitivity_db(BIAS_DB)
    dip = 2.2 * np.exp(-((BIAS_DB + 1.6) ** 2))
    return (
        long - short_wave_loss_db(38.1, BIAS_DB, 9.0) - dip,
        long - short_wave_loss_db(381.0, BIAS_DB, 9.0),
    )


def kinked() -> tuple[np.ndarray, np.ndarray]:
    stock, current = Stock(kinked=True), 10.0 ** (BIAS_DB / 20.0)
    sensitivity = stock.sensitivity(current)

    def level(frequency_hz: float) -> np.ndarray:
        loss = stock.recording_loss(np.array([frequency_hz]), current, 7.0, 15.0)
        return np.asarray(20.0 * np.log10(sensitivity * loss))

    return level(10_000.0), level(1000.0)


@pytest.fixture(scope="module")
def plan() -> Plan:
    deck = PracticeDeck(tracks=1)
    return plan_from_state(deck.load("calibration"), deck.load("stock"))


class Hand:
    """Turns bias evenly as it is told, by the sense it believes in; the tape answers late."""

    def __init__(self, curves: tuple[np.ndarray, np.ndarray], sense: int, seed: int) -> None:
        self._short, self._long = curves
        self._sense = sense
        self._rng = np.random.default_rng(seed)
        self.bias_db = [WORKING_DB + 0.8 * self._rng.standard_normal()] * (LAG_POINTS + 1)
        contact = self._rng.standard_normal(4004)
        self._contact = 0.15 * np.convolve(contact, np.ones(3) / np.sqrt(3.0), "valid")

    def levels(self) -> tuple[float, float]:
        at, noise = self.bias_db[-1 - LAG_POINTS], self._contact[len(self.bias_db)]
        short, long = (float(np.interp(at, BIAS_DB, c)) for c in (self._short, self._long))
        return short - 20.0 + noise, long - 30.0 + 0.1 * noise

    def follow(self, one: OneTone) -> None:
        """Until the track is taken or given up."""
        left_db, rest = 0.0, 0
        while one.taken_db is None and not one.failed and len(self.bias_db) < 3500:
            advice = one.add(np.array(self.levels())[:, np.newaxis])
            if advice is not None and not left_db and rest <= 0:
                if advice.deviation is None:
                    left_db = 0.3 * advice.way * self._sense
                elif advice.way:
                    left_db = 0.7 * advice.deviation * (1.0 + 0.2 * self._rng.standard_normal())
                    rest = round(10.0 * advice.wait_s)
            step_db = float(np.clip(left_db, -1.0 / POINTS_PER_DB, 1.0 / POINTS_PER_DB))
            left_db = left_db - step_db if abs(left_db - step_db) > 1e-9 else 0.0
            rest -= not left_db
            self.bias_db.append(self.bias_db[-1] + step_db)


@pytest.mark.parametrize("curves", [dipped, kinked])
@pytest.mark.parametrize("sense", [1, -1])
def test_it_ends_right_on_a_stock_that_bends_d(curves: Curves, sense: int, plan: Plan) -> None:
    short, long = curves()
    past = (BIAS_DB > -6.0) & (BIAS_DB < 1.0)
    assert np.diff((short - long)[past]).max() > 0.0  # D rises with bias somewhere
    top = int(np.argmax(short))
    drop_db = round(float(short[top] - np.interp(WORKING_DB, BIAS_DB, short)), 1)
    off_db = []
    for seed in range(8):
        hand = Hand((short, long), sense, seed)
        one = OneTone(0, replace(plan, over_bias_db=drop_db), 0.6)
        hand.follow(one)
        assert one.taken_db is not None
        assert hand.bias_db[-1] > BIAS_DB[top] + 1.0  # on the side of more bias, past any dip
        off_db.append(short[top] - float(np.interp(hand.bias_db[-1], BIAS_DB, short)) - drop_db)
    assert float(np.sqrt(np.mean(np.square(off_db)))) < 0.15


def test_without_a_long_wave_that_tells_the_sides_nothing_is_taken(plan: Plan) -> None:
    short, _ = kinked()
    hand = Hand((short, np.zeros_like(short)), 1, 1)
    one = OneTone(0, plan, 0.6)
    hand.follow(one)
    assert one.taken_db is None
    assert one.failed


def test_a_hand_that_turns_back_at_the_top_has_not_crossed_it() -> None:
    bias_db = np.concatenate([np.linspace(0.6, -2.9, 60), np.linspace(-2.9, 0.6, 60)])
    short, long = (np.interp(bias_db, BIAS_DB, c) for c in kinked())
    assert crossed(short, long) is None
    through_db = np.linspace(0.6, -5.0, 100)
    short, long = (np.interp(through_db, BIAS_DB, c) for c in kinked())
    crossing = crossed(short, long)
    assert crossing is not None
    assert crossing.bias_way == -1
    assert crossing.level_db == pytest.approx(float(kinked()[0].max()), abs=0.04)
