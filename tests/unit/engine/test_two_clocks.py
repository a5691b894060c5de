"""An interface that hears on another clock than it sends on: drift, and every frame accounted for.

In the suite 3 minutes of samples a case; an hour with ``FLUXBENCH_DRIFT_HOURS=1``.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from fluxbench.engine import LoopCheck
from fluxbench.measure import ClockDrift, EnvelopeBank, Hop
from fluxbench.signals import Sender, Tone
from tests.benches.two_clocks import TwoClocks

TONE_HZ = 1013.0
SECONDS = 3600.0 * float(os.environ.get("FLUXBENCH_DRIFT_HOURS", "0.05"))
FIRST_S = 60.0


@dataclass
class Told:
    """What was reported of a link."""

    after_first_ppm: float
    error_ppm: float
    at_end_ppm: float
    slips: int


def reported(link: TwoClocks, seconds: float, seen: Callable[[Hop], Hop] = lambda hop: hop) -> Told:
    """What bank and drift make of a steady tone over a link."""
    sender = Sender(link.rate_hz, 1)
    sender.send(Tone(TONE_HZ, -12.0))
    bank = EnvelopeBank(link.rate_hz, 1, (TONE_HZ,))
    drift = ClockDrift(link.rate_hz, TONE_HZ, 1)
    slips, lost, first = 0, False, None
    for n in range(round(50 * seconds)):
        for heard in bank.process(link.exchange(sender.block(link.rate_hz // 50))):
            hop = seen(heard)
            slips += hop.lost and not lost and n > 0
            lost = hop.lost
            if n > 10:
                drift.see(hop)
        if n == round(50 * FIRST_S):
            first = float(drift.drift_ppm[0]), float(drift.error_ppm[0])
    assert first is not None
    return Told(*first, float(drift.drift_ppm[0]), slips)


def check(link: TwoClocks, told: Told) -> None:
    """What has to hold of two clocks; the limits are our choice."""
    assert abs(told.after_first_ppm - link.drift_ppm) < 2.0
    assert abs(told.after_first_ppm - link.drift_ppm) < 5.0 * told.error_ppm + 0.01
    assert abs(told.at_end_ppm - link.drift_ppm) < 2.0
    assert link.slips > 0
    assert told.slips == link.slips
    assert link.greatest_fill < 2.1


@pytest.mark.parametrize(("drift_ppm", "silent"), [(200.0, False), (-200.0, True)])
def test_drift_is_told_and_no_slip_goes_unreported(drift_ppm: float, silent: bool) -> None:
    link = TwoClocks(drift_ppm, silent)
    check(link, reported(link, SECONDS))


def test_a_drift_that_is_not_cut_at_its_slips_is_caught() -> None:
    """Planted: whoever draws one line through all of it tells another drift."""
    link = TwoClocks(200.0, period=64)
    told = reported(link, FIRST_S + 5.0, lambda hop: replace(hop, lost=False))
    assert abs(told.after_first_ppm - 200.0) > 2.0
    with pytest.raises(AssertionError):
        check(link, told)


def test_slips_that_are_not_looked_for_are_caught() -> None:
    """Planted: whoever believes the driver alone counts none."""
    link = TwoClocks(-200.0, silent=True, period=64)
    told = reported(
        link, FIRST_S + 5.0, lambda hop: replace(hop, lost=hop.lost and not link.silent)
    )
    assert link.slips > 0
    with pytest.raises(AssertionError):
        check(link, told)


@pytest.mark.parametrize("drift_ppm", [0.5, 200.0])
def test_a_check_refuses_two_clocks_even_where_they_lose_frames(drift_ppm: float) -> None:
    link = TwoClocks(drift_ppm, period=8)
    loop = LoopCheck(link, -12.0, 4.0)
    while loop.result is None:
        loop.step()
    found = loop.result
    assert found.drift_ppm == pytest.approx(drift_ppm, abs=1.0)
    assert found.refused is (drift_ppm > 2.0)
    assert any("do not share a clock" in fault for fault in found.faults) is found.refused
    assert (found.lost_told > 0) is (drift_ppm > 2.0)
