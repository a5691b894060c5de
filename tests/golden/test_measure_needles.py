"""Ballistics of VU and programme meters against their tables."""

import numpy as np
import pytest

from fluxbench.measure import ProgrammeNeedles, VuNeedles
from fluxbench.trade import (
    PROGRAMME_METERS,
    type_iia_mark,
    vu_deflection_percent,
    vu_step_response,
)
from tests.reference import rows


def test_vu_movement() -> None:
    """IEC 60268-17: 99 % in 300 ms within 10 %, 1 to 1.5 % beyond, the same time to fall to 1 %."""
    rate_hz = 48_000
    time_s = np.arange(rate_hz) / rate_hz
    on = np.sin(2 * np.pi * 1000 * time_s)
    needles = VuNeedles(rate_hz, 2)
    both = np.stack([on, 0.1 * on], axis=1)
    moved = np.concatenate([needles.move(both[:777]), needles.move(both[777:])])
    at_s = np.arange(len(moved)) / needles.points_per_s
    assert 0.27 <= at_s[np.argmax(moved[:, 0] >= 0.99)] <= 0.33
    assert 1.01 <= moved[:, 0].max() <= 1.015
    np.testing.assert_allclose(moved[:, 0], vu_step_response(at_s), atol=0.004)
    np.testing.assert_allclose(moved[:, 1], 0.1 * moved[:, 0], atol=1e-9)
    falling = needles.move(np.zeros((rate_hz, 2)))[:, 0]
    assert 0.27 <= at_s[np.argmax(falling <= 0.01)] <= 0.33


def test_vu_scale() -> None:
    for row in rows("vu_scale"):
        got = vu_deflection_percent(float(row["vu"]))
        assert got == pytest.approx(float(row["pct_of_0vu_deflection"]), abs=0.06)


@pytest.mark.parametrize(("table_type", "kind"), [("I", "I"), ("II", "IIa")])
def test_programme_meter_bursts(table_type: str, kind: str) -> None:
    """IEC 60268-10: isolated 5 kHz bursts re a steady tone; limits partly from memory."""
    rate_hz = 192_000
    table = [row for row in rows("ppm_bursts") if row["type"] == table_type]
    time_s = np.arange(round(0.12 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * 5000 * time_s)
    lengths_s = [float(row["burst_ms"]) / 1000 for row in table]
    waves = np.stack([*(tone * (time_s < s - 1e-9) for s in lengths_s), tone], axis=1)
    highest = ProgrammeNeedles(rate_hz, waves.shape[1], PROGRAMME_METERS[kind]).move(waves).max(0)
    assert highest[-1] == pytest.approx(1.0, abs=0.01)
    for row, got_db in zip(table, 20 * np.log10(highest[:-1] / highest[-1]), strict=True):
        limit_db = float(row["tolerance_db"].removeprefix("+/-"))
        assert abs(got_db - float(row["reading_db_re_steady"])) <= limit_db, row


@pytest.mark.parametrize(("kind", "fall_db", "seconds"), [("I", 20, 1.7), ("IIa", 24, 2.8)])
def test_programme_meter_return(kind: str, fall_db: float, seconds: float) -> None:
    meter, rate_hz = PROGRAMME_METERS[kind], 2_000
    assert (meter.return_db, meter.return_s) == (fall_db, seconds)
    needles = ProgrammeNeedles(rate_hz, 1, meter)
    top = needles.move(np.ones((rate_hz, 1)))[-1, 0]
    fallen = needles.move(np.zeros((round(seconds * rate_hz), 1)))[-1, 0]
    assert 20 * np.log10(top / fallen) == pytest.approx(fall_db, abs=0.05)


def test_type_iia_marks() -> None:
    """Mark 4 is 0 dBu, mark 6 is 1.94 V = +8 dBu (ppm.csv), 4 dB a mark."""
    assert type_iia_mark(np.array([-12.0, 0.0, 8.0, 12.0])).tolist() == [1.0, 4.0, 6.0, 7.0]
    assert PROGRAMME_METERS["IIa"].reference_dbu == 8.0
