"""A calibration tape that is not the one of its sheet, against trimmers that scatter."""

from types import SimpleNamespace

import numpy as np
import pytest

from fluxbench.lineup._stages_reproduce import check_fluxivity
from fluxbench.lineup._telling import Stop

STATED_NWB_PER_M = 250.0
SCATTER_DB = 1.2
"""Rms of level trimmers as found on both modelled decks; from memory of decks in use, 1 dB."""


class FakeBench:
    """As much of a bench as the check needs."""

    def __init__(self) -> None:
        self.plan = SimpleNamespace(
            calibration_nwb_per_m=STATED_NWB_PER_M, tape_told="the calibration tape"
        )
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        self.notes.append(text)


def outcome(readings: int, real_nwb_per_m: float, seed: int) -> str:
    """Nothing, a note, or the line-up stopped; a tape of another fluxivity reads 20 lg higher."""
    scatter = np.clip(np.random.default_rng(seed).normal(size=readings), -2.2, 2.2)
    off_db = SCATTER_DB * scatter + 20.0 * np.log10(real_nwb_per_m / STATED_NWB_PER_M)
    bench = FakeBench()
    try:
        check_fluxivity(bench, off_db)  # type: ignore[arg-type]
    except Stop:
        return "stop"
    return "note" if bench.notes else ""


def share(readings: int, real_nwb_per_m: float, *outcomes: str) -> float:
    return sum(outcome(readings, real_nwb_per_m, s) in outcomes for s in range(300)) / 300.0


@pytest.mark.parametrize("real", [320.0, 200.0])
@pytest.mark.parametrize(("readings", "least"), [(48, 1.0), (16, 0.9), (8, 0.4)])
def test_another_tape_stops_the_line_up(readings: int, least: float, real: float) -> None:
    """2.1 dB more and 1.9 dB less than stated; two heads of 24, 8 and 4 tracks."""
    assert share(readings, real, "stop") >= least


@pytest.mark.parametrize("real", [320.0, 200.0])
@pytest.mark.parametrize(("readings", "least"), [(48, 1.0), (16, 1.0), (8, 0.85), (2, 0.5)])
def test_another_tape_is_at_least_said(readings: int, least: float, real: float) -> None:
    assert share(readings, real, "note", "stop") >= least


@pytest.mark.parametrize(("readings", "most"), [(48, 0.0), (16, 0.02), (8, 0.04), (2, 0.1)])
def test_the_right_tape_is_seldom_doubted_and_never_refused(readings: int, most: float) -> None:
    assert share(readings, STATED_NWB_PER_M, "note", "stop") <= most
    assert share(readings, STATED_NWB_PER_M, "stop") == 0.0


def test_the_fluxivity_that_it_names_is_the_tape_s() -> None:
    bench = FakeBench()
    with pytest.raises(Stop, match="320 nWb/m"):
        check_fluxivity(bench, np.full(16, 20.0 * np.log10(320.0 / 250.0)))  # type: ignore[arg-type]
