"""Weightings, meter movements and preferred frequencies against the tables of their standards."""

import re

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench import trade
from fluxbench.base import MisuseError
from tests.reference import rows

Array = NDArray[np.float64]


def column(table: list[dict[str, str]], name: str) -> Array:
    return np.array([float(row[name]) for row in table])


def test_a_weighting() -> None:
    """IEC 61672-1:2013 Table 3, which is rounded to 0.1 dB, at its exact frequencies."""
    table = rows("a_weighting")
    got = trade.a_weighting_db(10 ** (np.arange(10, 10 + len(table)) / 10))
    np.testing.assert_allclose(got, column(table, "a_db"), atol=0.0501)
    np.testing.assert_allclose(got, column(table, "a_db_formula_at_exact"), atol=0.0001)


def test_a_weighting_is_inside_class_1_at_nominal_frequencies() -> None:
    table = rows("a_weighting")
    error = trade.a_weighting_db(column(table, "nominal_hz")) - column(table, "a_db")
    assert np.all(error <= column(table, "class1_upper_db_2013"))
    assert np.all(error >= column(table, "class1_lower_db_2013"))


def test_bs468() -> None:
    """ITU-R BS.468-4 Table 1, rounded to 0.1 dB; and the passive network of Fig. 1a."""
    table = rows("itu468_response")
    got = trade.bs468_weighting_db(column(table, "freq_hz"))
    np.testing.assert_allclose(got, column(table, "response_db"), atol=0.0503)
    np.testing.assert_allclose(got, column(table, "network_formula_db"), atol=0.00051)


def test_bs468_is_its_network_of_coils_and_capacitors() -> None:
    """The elements of Fig. 1a, one chain matrix each: nothing of the poles."""
    frequency_hz = np.array([31.5, 400.0, 1000.0, 6300.0, 12_500.0, 20_000.0])
    s = 2j * np.pi * frequency_hz
    chain = np.broadcast_to(np.eye(2, dtype=complex), (len(s), 2, 2))
    for row in rows("itu468_network"):
        value = float(row["value"]) * {"ohm": 1.0, "mH": 1e-3, "nF": 1e-9}[row["unit"]]
        impedance = {
            "ohm": np.full_like(s, value), "mH": s * value, "nF": 1 / (s * value)
        }[row["unit"]]  # fmt: skip
        element = np.zeros((len(s), 2, 2), dtype=complex)
        element[:, 0, 0] = element[:, 1, 1] = 1
        if row["element"].startswith(("shunt", "load")):
            element[:, 1, 0] = 1 / impedance
        else:
            element[:, 0, 1] = impedance
        chain = chain @ element
    response_db = -20 * np.log10(np.abs(chain[:, 0, 0]))
    got = trade.bs468_weighting_db(frequency_hz)
    np.testing.assert_allclose(got, response_db - response_db[2], atol=1e-6)


def test_bs468_is_its_pole_and_zero_table() -> None:
    """Poles, zero and gain worked out of Fig. 1a apart from this project (itu468_zpk.csv)."""
    of = {kind: [] for kind in ("zero", "pole", "gain_0dB_at_1kHz")}
    for row in rows("itu468_zpk"):
        of[row["kind"]].append(complex(float(row["real_rad_s"]), float(row["imag_rad_s"])))
    frequency_hz = np.geomspace(20.0, 30_000.0, 200)
    s = 2j * np.pi * frequency_hz
    response = np.full_like(s, of["gain_0dB_at_1kHz"][0])
    for zero in of["zero"]:
        response *= s - zero
    for pole in of["pole"]:
        response /= s - pole
    got = trade.bs468_weighting_db(frequency_hz)
    np.testing.assert_allclose(got, 20 * np.log10(np.abs(response)), atol=1e-6)


def test_flutter_weighting() -> None:
    """IEC 60386 Table I, from memory; between its points within 1 dB of a smooth fitted filter."""
    table = rows("flutter_weighting")
    table_hz = column(table, "freq_hz")
    got = trade.flutter_weighting_db(table_hz)
    np.testing.assert_allclose(got, column(table, "weight_db"), atol=1e-9)

    terms = [row for row in rows("flutter_weighting_fit") if "SIMPLE" not in row["term"]]
    between_hz = np.sqrt(table_hz[1:] * table_hz[:-1])
    fit_db = fitted(terms, between_hz) - fitted(terms, np.array([4.0]))
    np.testing.assert_allclose(trade.flutter_weighting_db(between_hz), fit_db, atol=1.0)


def fitted(terms: list[dict[str, str]], frequency_hz: Array) -> Array:
    response = np.ones(len(frequency_hz), dtype=complex)
    for row in terms:
        x = 1j * frequency_hz / float(row["f_hz"])
        response *= {
            "first-order high-pass": lambda x, _: x / (1 + x),
            "second-order high-pass": lambda x, q: x**2 / (1 + x / q + x**2),
            "first-order low-pass": lambda x, _: 1 / (1 + x),
            "real zero": lambda x, _: 1 + x,
        }[row["term"]](x, float(row["q"] or 1))
    return 20 * np.log10(np.abs(response))


def test_flutter_weighting_beyond_its_table() -> None:
    """The slopes of the last intervals go on, an octave beyond either end."""
    below_db = -48 - (-30.6 - -48)
    above_db = -23 + (-23 - -17.3)
    got = trade.flutter_weighting_db(np.array([0.05, 400.0]))
    np.testing.assert_allclose(got, [below_db, above_db])
    assert trade.flutter_weighting_db(0.0) == -np.inf


def test_preferred_frequencies() -> None:
    """ISO 266 (R10), with 10^(n/10) of IEC 61260-1."""
    table = rows("iso266")
    assert tuple(column(table, "nominal_hz")) == trade.NOMINAL_HZ
    for row in table:
        exact_hz = trade.exact_hz(float(row["nominal_hz"]))
        assert exact_hz == pytest.approx(float(row["exact_base10_hz"]), rel=1e-5)
    assert trade.preferred_hz(25, 50) == (25, 31.5, 40, 50)
    with pytest.raises(MisuseError, match="no preferred frequency"):
        trade.exact_hz(440)


def test_vu_movement() -> None:
    """IEC 60268-17: 99 % in 300 ms, within 10 %, and 1 to 1.5 % beyond; the rest closed form."""
    table = {row["item"]: row for row in rows("vu_ballistics")}
    named = table["2nd-order movement giving 1.25 % overshoot and 99 % at 300 ms"]["value"]
    zeta, natural = (float(number) for number in re.findall(r"=([\d.]+)", named)[:2])
    assert (zeta, natural) == (trade.VU_DAMPING, trade.VU_NATURAL_RAD_PER_S)

    time_s = np.linspace(0, 3, 30_001)
    deflection = trade.vu_step_response(time_s)
    assert deflection[0] == pytest.approx(0, abs=1e-12)
    assert time_s[np.argmax(deflection >= 0.99)] == pytest.approx(0.3, abs=0.001)
    assert 1.0 + 0.01 <= deflection.max() <= 1.0 + 0.015
    assert deflection.max() == pytest.approx(1.0125, abs=0.0001)
    assert deflection[-1] == pytest.approx(1, abs=1e-6)


def test_quasi_peak_bursts() -> None:
    """Every window of ITU-R BS.468-4 Tables 2 and 3, at 5 kHz, all run side by side at 96 kHz."""
    rate_hz, tone_hz = 96_000, 5000
    table = rows("itu468_bursts")
    burst_s = column(table, "burst_ms") / 1000
    period_s = np.array([1 / float(row["bursts_per_s"] or 0.01) for row in table])
    # A last column that never stops is the steady tone to compare with.
    burst_s, period_s = np.append(burst_s, 1.0), np.append(period_s, 1.0)
    time_s = np.arange(int(2.5 * rate_hz)) / rate_hz
    wave = np.abs(np.sin(2 * np.pi * tone_hz * time_s))
    charge, discharge, smoothing = 1 - np.exp(
        -1
        / rate_hz
        / np.array(
            [
                trade.QUASI_PEAK_CHARGE_S,
                trade.QUASI_PEAK_DISCHARGE_S,
                trade.QUASI_PEAK_SMOOTHING_S,
            ]
        )
    )
    stage, smooth, greatest = np.zeros((3, len(burst_s)))
    for level, at_s in zip(wave, time_s, strict=True):
        rest = level * (at_s % period_s < burst_s - 0.5 / rate_hz) - stage
        stage += rest * np.where(rest > 0, charge, discharge)
        smooth += (stage - smooth) * smoothing
        np.maximum(greatest, smooth, out=greatest)
    percent = 100 * greatest[:-1] / greatest[-1]
    assert np.all(percent > column(table, "lower_pct"))
    assert np.all(percent < column(table, "upper_pct"))
    # The fit's publisher has 0.14 dB as its largest error against the printed readings; here, with
    # stages that are described in words only, it is 0.15 dB.
    error_db = 20 * np.log10(percent / column(table, "reading_pct"))
    assert np.max(np.abs(error_db)) < 0.16
