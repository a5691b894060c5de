"""Azimuth of a head of one live track: the sinc law and a hand in closed form, and whole decks."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import LineUp, plan_from_state
from fluxbench.lineup._bench import Procedure
from fluxbench.lineup._one_track import short_section, shortest_hz
from fluxbench.lineup._stages_record import record_azimuth
from fluxbench.lineup._stages_reproduce import reproduce_azimuth
from fluxbench.lineup._upright import Upright
from tests.decks.standing import with_hands

WIDTH_MM, LENGTH_UM = 5.94, 23.8
LAG_POINTS = 4
NOISE_DB = 0.15
SLOT = 0.05


def loss_db(angle_arcmin: float) -> float:
    """Azimuth loss, written out: sinc(w tan a / wavelength) (PHYSICS, losses)."""
    x = np.pi * 1000.0 * WIDTH_MM * np.tan(angle_arcmin / 60.0 * np.pi / 180.0) / LENGTH_UM
    return 0.0 if abs(x) < 1e-9 else float(-20.0 * np.log10(abs(np.sin(x) / x)))


def set_by_hand(seed: int) -> tuple[float, Upright, int]:
    """A head that begins anywhere within 10 arc-minutes, a hand that obeys; where it is left."""
    rng = np.random.default_rng(seed)
    screw = Upright("reproduce_azimuth", WIDTH_MM, LENGTH_UM, LAG_POINTS / 10)
    angle, noise = rng.uniform(-10.0, 10.0), 0.0
    been = [angle] * (LAG_POINTS + 1)
    rate, stroke, way, back = rng.uniform(0.1, 0.3), 0.0, 0, False
    for points in range(3000):
        noise = 0.6 * noise + 0.8 * rng.standard_normal()
        level_db = NOISE_DB * noise - loss_db(been[-1 - LAG_POINTS])
        advice = screw.add(-30.0 if points % 97 == 96 else level_db)  # and drop-outs
        if screw.found is not None or screw.failed:
            return angle, screw, points
        if advice is not None and advice.way and advice.back_ratio is None:
            stroke, way, back = 0.0 if advice.way != way else stroke, advice.way, False
            turned = way * rate * (1.0 + 0.2 * rng.standard_normal())
            angle, stroke = angle + turned, stroke + turned
        elif advice is not None and advice.back_ratio is not None and not back:
            back = True
            angle -= stroke * advice.back_ratio * (1.0 + SLOT * rng.standard_normal())
        been.append(angle)
    raise AssertionError("it went on for ever")


def test_screw_ends_upright_and_says_how_well() -> None:
    ended = [set_by_hand(seed) for seed in range(40)]
    left = np.array([angle for angle, _, _ in ended])
    said = np.array([s.found.error_arcmin if s.found else np.nan for _, s, _ in ended])
    assert np.isfinite(said).all()
    assert np.abs(left).max() < 1.0  # set band of a quarter inch
    # What is said is what is left, within what 40 tell of a spread (11 %) and its tails.
    assert 0.7 < np.sqrt(np.mean((left / said) ** 2)) < 1.35
    assert max(points for _, _, points in ended) < 900


def test_hand_marks_first_where_the_screw_was_found() -> None:
    """Its level is even in the angle: it leads nobody back to the side on which it was."""
    screw = Upright("reproduce_azimuth", WIDTH_MM, LENGTH_UM, LAG_POINTS / 10)
    angle, words = -6.0, []
    for _ in range(200):
        advice = screw.add(-loss_db(angle))
        if advice is not None:
            angle += 0.1 * advice.way
            words += [advice.words] if advice.words not in words else []
    assert ["mark where the screw stands, then" in line for line in words] == [True, False, False]
    assert "turn the other way" in words[2]


def test_peak_is_told_with_its_own_error() -> None:
    ended = [set_by_hand(seed)[1].found for seed in range(100, 140)]
    off = np.array([f.peak.level_db for f in ended if f])  # 0 dB in truth
    said = np.array([f.peak.error_db for f in ended if f])
    assert len(off) == 40
    assert abs(off.mean()) < 0.05
    assert 0.5 < np.std(off) / np.sqrt(np.mean(said**2)) < 2.0


def test_screw_at_its_end_is_said() -> None:
    screw = Upright("record_azimuth", WIDTH_MM, LENGTH_UM, 0.2)
    points = 0
    while not screw.failed:
        screw.add(-0.2)
        points += 1
        assert points < 2000
    assert "end" in screw.failed


def test_wave_does_not_vanish_within_reach_of_a_head() -> None:
    for speed_ips in (7.5, 15.0, 30.0):
        deck = PracticeDeck(tracks=1, speed_ips=speed_ips)
        plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
        for frequency_hz in (shortest_hz(plan), short_section(plan).frequency_hz):
            # The first null: width times tangent is one wavelength.
            length_um = 25400.0 * speed_ips / frequency_hz
            null = np.degrees(np.arctan(length_um / (1000.0 * plan.width_mm))) * 60.0
            assert null > 10.95


class Azimuths(LineUp):
    """Only the azimuth of one head."""

    IN_STAGES = False

    def __init__(self, plan: Any, head: str) -> None:
        self._head = head
        super().__init__(plan)

    def _run(self) -> Procedure:
        yield
        if self._head == "reproduce":
            self.stage("reproduce")
            yield from reproduce_azimuth(self)
        else:
            yield from record_azimuth(self, "azimuth again")
        self.silence()


def run(deck: PracticeDeck, head: str) -> Azimuths:
    procedure = Azimuths(plan_from_state(deck.load("calibration"), deck.load("stock")), head)
    with_hands(procedure, deck, 600.0)
    return procedure


def of(procedure: Azimuths, what: str) -> Sequence[Any]:
    return [entry for entry in procedure.journal if entry["what"] == what]


def test_section_is_long_and_short_waved_at_any_speed() -> None:
    for speed_ips, frequency_hz in ((7.5, 10_000.0), (15.0, 16_000.0), (30.0, 16_000.0)):
        deck = PracticeDeck(tracks=1, speed_ips=speed_ips)
        section = short_section(plan_from_state(deck.load("calibration"), deck.load("stock")))
        assert section.frequency_hz == frequency_hz
        assert section.seconds >= 20.0


@pytest.mark.parametrize("head", ["reproduce", "record"])
def test_practice_deck_of_one_track(head: str) -> None:
    deck = PracticeDeck(tracks=1, seed=4)
    if head == "record":
        deck._set_ideal()
        deck.turn("record_azimuth", 2.5)
    procedure = run(deck, head)
    left = of(procedure, "as left")[-1]
    residual = deck.truth()["residual"][f"{head}_azimuth_arcmin"]
    assert left["trimmer"] == f"{head}_azimuth"
    assert left["by"] == "greatest output"
    assert abs(residual) < 1.0  # the set band of a quarter inch
    assert abs(residual) < 3.0 * left["error_arcmin"]
    assert not [note for note in procedure.view.notes if "azimuth" in note]
