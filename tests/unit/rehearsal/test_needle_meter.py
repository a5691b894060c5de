"""The needle against the published movement and scale; the eye against its stated errors."""

import numpy as np
import pytest

from fluxbench.rehearsal._needle_meter import (
    VuNeedles,
    read_needle,
    read_phase,
    reading_error_db,
)
from fluxbench.trade import vu_step_response
from tests.reference import rows

STEP_S = 0.02
TABLE = {row["item"]: row["value"] for row in rows("vu_ballistics")}


def swing(amplitudes: list[float], step_s: float = STEP_S) -> np.ndarray:
    """Deflections after each step, of the first of two needles."""
    needles = VuNeedles(2, step_s)
    return np.array([needles.move(np.array([a, 0.5 * a]))[0] for a in amplitudes])


def test_a_sudden_tone_reaches_99_per_cent_in_300_ms() -> None:
    """IEC 60268-17 as quoted in the table: 99 % in 300 ms, overshoot 1 to 1.5 %."""
    assert TABLE["reach 99 % of 0 VU after sudden 0 VU tone"] == "300"
    assert TABLE["overshoot"] == "1 to 1.5"
    rise = swing([1.0] * 150)
    at_ms = 20 * (1 + int(np.argmax(rise >= 0.9899)))
    assert at_ms == 300
    assert 1.010 <= rise.max() <= 1.015
    assert rise[-1] == pytest.approx(1.0, abs=1e-4)


def test_it_falls_to_1_per_cent_in_300_ms() -> None:
    assert TABLE["fall 100 % to 1 %"] == "300"
    fall = swing([1.0] * 150 + [0.0] * 50)[150:]
    assert 20 * (1 + int(np.argmax(fall <= 0.0101))) == 300
    assert fall.min() >= 0.0  # it rests on a stop


@pytest.mark.parametrize("step_s", [0.005, 0.02, 0.05])
def test_steps_of_any_length_lie_on_the_closed_form(step_s: float) -> None:
    steps = 20
    time_s = step_s * np.arange(1, steps + 1)
    assert swing([1.0] * steps, step_s) == pytest.approx(vu_step_response(time_s), abs=1e-9)


def test_needles_move_apart_and_in_proportion() -> None:
    needles = VuNeedles(3, STEP_S)
    for _ in range(100):
        stands = needles.move(np.array([1.0, 0.1, 0.0]))
    assert stands == pytest.approx([1.0, 0.1, 0.0], abs=1e-4)


def test_the_scale_ends_at_plus_3() -> None:
    """Scale of the table: +3 VU is 141.3 % of the deflection at 0 VU."""
    top = {row["vu"]: float(row["pct_of_0vu_deflection"]) for row in rows("vu_scale")}["3"]
    needles = VuNeedles(1, STEP_S)
    for _ in range(60):
        needles.move(np.array([10.0]))
    assert needles.deflection[0] == pytest.approx(top / 100, abs=5e-4)
    for _ in range(60):
        needles.move(np.array([1.0]))
    assert needles.deflection[0] == pytest.approx(1.0, abs=1e-3)


def test_reading_error_by_scale_position() -> None:
    """Common practice, no source: 0.1 dB near 0 and 0.5 dB at -20."""
    assert reading_error_db(0.0) == pytest.approx(0.1)
    assert reading_error_db(3.0) == pytest.approx(0.1)
    assert reading_error_db(-20.0) == pytest.approx(0.5)
    assert reading_error_db(-10.0) == pytest.approx(0.3)


@pytest.mark.parametrize(
    "mark", [row for row in rows("vu_scale") if row["vu"] in {"-10", "-5", "0", "2"}]
)
def test_readings_scatter_around_the_mark(mark: dict[str, str]) -> None:
    rng = np.random.default_rng(5)
    vu, deflection = float(mark["vu"]), float(mark["pct_of_0vu_deflection"]) / 100
    read = np.array([read_needle(deflection, rng) for _ in range(4000)])
    spread = np.hypot(reading_error_db(vu), 0.1 / np.sqrt(12))  # rounding to 0.1 dB
    assert read.mean() == pytest.approx(vu, abs=0.01 + 4 * spread / np.sqrt(len(read)))
    assert read.std() == pytest.approx(spread, rel=0.06)
    assert 10 * read == pytest.approx(np.round(10 * read), abs=1e-9)


def test_below_the_lowest_mark_there_is_nothing_to_read() -> None:
    assert np.isnan(read_needle(0.09, np.random.default_rng(1)))
    assert np.isfinite(read_needle(0.11, np.random.default_rng(1)))


def test_phase_is_read_within_15_degrees() -> None:
    """To the nearest 5, so within 17.5; the mean error is none."""
    rng = np.random.default_rng(6)
    cross = 0.3 * np.exp(1j * np.radians(40.0))
    off = np.array([read_phase(complex(cross), rng) for _ in range(4000)]) - 40.0
    assert np.abs(off).max() <= 17.5
    assert np.abs(off).max() > 10.0
    assert off.mean() == pytest.approx(0.0, abs=0.7)
