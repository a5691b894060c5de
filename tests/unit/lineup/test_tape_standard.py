"""A calibration tape of another equalisation is told from dirt and from trimmers."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import Plan, plan_from_state
from fluxbench.lineup._tape_standard import another_standard
from fluxbench.trade import Equalisation, spacing_loss_db, wavelength_um


@cache
def plan_of(speed_ips: float, tracks: int = 8) -> Plan:
    deck = PracticeDeck(tracks, speed_ips)
    return plan_from_state(deck.load("calibration"), deck.load("stock"))


def flux_db(t1_us: float | None, t2_us: float, hz: float) -> float:
    """The closed form of IEC 60094-1: flux re an even one, 1 kHz as the reference."""

    def level(at: float) -> float:
        w = 2.0 * np.pi * at * 1e-6
        long = 1.0 if t1_us is None else 1.0 + 1.0 / (w * t1_us) ** 2
        return float(10.0 * np.log10(long / (1.0 + (w * t2_us) ** 2)))

    return level(hz) - level(1000.0)


def readings(
    plan: Plan, tape: Equalisation, trimmed_db: float, dirt_um: float = 0.0, seed: int = 1
) -> dict[int, np.ndarray]:
    """What a deck that is right for the plan reads, its high ends off by so much (rms)."""
    rng = np.random.default_rng(seed)
    high_db = trimmed_db * rng.standard_normal(plan.tracks)
    own = plan.equalisation
    read = {}
    for s in plan.sections:
        hz = s.frequency_hz
        off = flux_db(tape.t1_us, tape.t2_us, hz) - flux_db(own.t1_us, own.t2_us, hz)
        loss = spacing_loss_db(dirt_um, wavelength_um(hz, plan.speed_ips))
        trim = high_db * (hz / 10_000.0) ** 2 / (0.3 + (hz / 10_000.0) ** 2)
        noise = 0.1 * rng.standard_normal(plan.tracks)
        read[s.number] = plan.calibration_target_db(s) + off - float(loss) + trim + noise
    return read


@pytest.mark.parametrize(
    ("speed_ips", "own", "other"),
    [
        (15.0, (None, 35.0), (3180.0, 50.0)),
        (15.0, (3180.0, 50.0), (None, 35.0)),
        (30.0, (None, 17.5), (None, 35.0)),
        (7.5, (None, 70.0), (3180.0, 50.0)),
    ],
)
def test_the_other_standard_is_named(
    speed_ips: float, own: tuple[float | None, float], other: tuple[float | None, float]
) -> None:
    plan = replace(plan_of(speed_ips), equalisation=Equalisation(*own))
    live = np.ones(8, np.bool_)
    found = another_standard(plan, readings(plan, Equalisation(*other), 1.0), live)
    assert found is not None
    assert found.equalisation.t2_us == other[1]
    assert f"{other[1]:g} us" in str(found)


@pytest.mark.parametrize("tracks", [1, 2, 8, 24])
def test_trimmers_and_dirt_are_not_taken_for_a_standard(tracks: int) -> None:
    plan = plan_of(15.0, tracks)
    live = np.ones(tracks, np.bool_)
    for seed in range(20):
        for dirt_um in (0.0, 1.0, 3.0):
            read = readings(plan, plan.equalisation, 1.5, dirt_um, seed)
            assert another_standard(plan, read, live) is None
