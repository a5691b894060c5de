"""Curves whose figures stand in print: contour, crosstalk, bias and fringing tables.

The figures were worked out from the same closed forms apart from this project's code, or read off a
time-domain run; they are printed with one or two digits, and the tolerance is half the last one.
"""

import numpy as np
import pytest

from fluxbench import trade


@pytest.mark.parametrize(
    ("decay_in_lengths", "max_in_lengths", "max_db", "min_in_lengths", "min_db"),
    [
        (0.2, 1.40, 4.8, 0.62, -5.0),
        (0.4, 1.68, 3.7, 0.66, -2.5),
        (0.6, 1.89, 3.0, 0.67, -1.6),
        (1.0, 2.19, 2.2, 0.68, -1.0),
    ],
)
def test_contour(
    decay_in_lengths: float,
    max_in_lengths: float,
    max_db: float,
    min_in_lengths: float,
    min_db: float,
) -> None:
    in_lengths = np.linspace(0.55, 4, 100_001)
    frequency_hz = trade.frequency_hz(in_lengths * 4000, 15)
    contour_db = trade.contour_db(frequency_hz, 15, 4, 4 * decay_in_lengths)
    top, bottom = np.argmax(contour_db), np.argmin(contour_db[in_lengths < 1])
    assert in_lengths[top] == pytest.approx(max_in_lengths, abs=0.0051)
    assert contour_db[top] == pytest.approx(max_db, abs=0.051)
    assert in_lengths[bottom] == pytest.approx(min_in_lengths, abs=0.0051)
    assert contour_db[bottom] == pytest.approx(min_db, abs=0.051)


def test_a_sharp_ended_head_is_one_less_cosine() -> None:
    """Without a tail the formula is 1 - cos(kL/2), known for rectangular pole potentials."""
    frequency_hz = np.array([20.0, 47.625, 95.25, 300.0])
    half = np.pi * frequency_hz * 4 / 381
    got = trade.contour_db(frequency_hz, 15, 4, 0)
    np.testing.assert_allclose(got, 20 * np.log10(np.abs(1 - np.cos(half))))


@pytest.mark.parametrize(
    ("width_mm", "guard_mm", "expected"),
    [
        (1.0, 1.1, {31.5: -14, 50: -19, 100: -32, 250: -65}),
        (70 * 0.0254, 57 * 0.0254, {31.5: -18, 50: -25, 100: -42, 250: -83}),
    ],
)
def test_side_crosstalk(width_mm: float, guard_mm: float, expected: dict[float, float]) -> None:
    """2-inch 24 and 16 tracks at 15 ips, printed in whole dB."""
    got = trade.side_crosstalk_db(np.array(list(expected)), 15, width_mm, guard_mm)
    np.testing.assert_allclose(got, list(expected.values()), atol=1.0)


@pytest.mark.parametrize(
    ("speed_ips", "rises"),
    [
        (7.5, {31.5: 2.2, 63: 1.3, 125: 0.7, 250: 0.35, 500: 0.1}),
        (15, {31.5: 3.4, 63: 2.1, 125: 1.2, 250: 0.6, 500: 0.2}),
        (30, {31.5: 4.6, 63: 3.1, 125: 1.9, 250: 0.9, 500: 0.4}),
    ],
)
def test_fringing_of_a_two_track(speed_ips: float, rises: dict[float, float]) -> None:
    """2 mm tracks, 3.7 and 0.2 mm free, re 1 kHz."""
    frequency_hz = np.array([*rises, 1000.0])
    absolute = trade.fringing_rise_db(frequency_hz, speed_ips, 2, 3.7, 0.2)
    np.testing.assert_allclose(absolute[:-1] - absolute[-1], list(rises.values()), atol=0.11)


def test_fringing_at_1_khz_is_half_a_decibel_on_1_mm() -> None:
    """The half-plane model is known to give 0.5 dB even at 1 kHz on a 1 mm track at 15 ips."""
    known = trade.format_named("2-inch 24-track")
    rise_db = trade.fringing_rise_db(1000, 15, 1.0, *known.free_sides_mm(12))
    assert rise_db == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(
    ("speed_ips", "peak_below_db", "fall_db", "long_peak_db", "long_fall_db"),
    [(30, 2.7, 1.48, -1.05, 0.14), (15, 3.5, 2.83, -1.4, 0.27), (7.5, 4.4, 4.78, -1.9, 0.56)],
)
def test_bias(
    speed_ips: float, peak_below_db: float, fall_db: float, long_peak_db: float, long_fall_db: float
) -> None:
    """Peak positions re the working point, and falls at it, for 10 kHz and 1 kHz (9 um gap)."""
    short_um, long_um = trade.wavelength_um(np.array([10e3, 1e3]), speed_ips)
    working = trade.WORKING_BIAS_DB
    assert working - trade.peak_bias_db(short_um) == pytest.approx(peak_below_db, abs=0.051)
    assert trade.over_bias_db(short_um, working) == pytest.approx(fall_db, abs=0.0051)
    assert trade.peak_bias_db(long_um) - working == pytest.approx(long_peak_db, abs=0.051)
    assert trade.over_bias_db(long_um, working) == pytest.approx(long_fall_db, abs=0.0051)


def test_over_bias_by_gap() -> None:
    """15 ips, 10 kHz."""
    gap_um = np.array([3, 6, 7, 9, 12.7])
    got = trade.over_bias_db(38.1, trade.WORKING_BIAS_DB, gap_um)
    np.testing.assert_allclose(got, [1.5, 2.3, 2.5, 2.8, 3.35], atol=0.06)


def test_third_harmonic_by_bias() -> None:
    """Per cent at 320 nWb/m; least at +2.3 dB; 1 dB less bias makes it 1.3 times, 1 more 0.9."""
    percent = 100 * trade.third_harmonic_ratio(trade.WORKING_BIAS_DB + np.array([0.0, -1.0, 1.0]))
    np.testing.assert_allclose(percent, [0.53, 0.71, 0.46], atol=0.02)
    bias_db = np.linspace(-6, 6, 12_001)
    assert bias_db[np.argmin(trade.third_harmonic_ratio(bias_db))] == pytest.approx(2.3, abs=0.002)
    assert trade.third_harmonic_ratio(2.3) == pytest.approx(0.0045)
