"""Facts of the trade without a source (common practice), and what is refused."""

import math

import numpy as np
import pytest

from fluxbench import trade
from fluxbench.base import MisuseError


def test_every_public_name_is_there() -> None:
    assert len(trade.__all__) == len(set(trade.__all__))
    for name in trade.__all__:
        assert hasattr(trade, name)


def test_tones_at_15_ips() -> None:
    """Common practice, no source: bias and record high end with 10 kHz, record level with 1 kHz."""
    assert trade.bias_frequency_hz(15) == pytest.approx(10_000)
    assert trade.HIGH_END_HZ == 10_000
    assert trade.LEVEL_HZ == 1000
    assert trade.ZERO_VU_DBU == 4
    assert trade.companion_frequency_hz(10_000) == 1000


@pytest.mark.parametrize("speed_ips", [3.75, 7.5, 15, 30])
def test_bias_is_set_with_one_wavelength(speed_ips: float) -> None:
    assert trade.wavelength_um(trade.bias_frequency_hz(speed_ips), speed_ips) == pytest.approx(38.1)


def test_over_bias_target() -> None:
    """Common practice, no source: +0.3 less 3 is -2.7, -0.5 less 4 is -4.5."""
    assert trade.over_bias_target_db(0.3, 3) == pytest.approx(-2.7)
    assert trade.over_bias_target_db(-0.5, 4) == pytest.approx(-4.5)


@pytest.mark.parametrize("name", ["2-inch 24-track", "1-inch 8-track", "1/4-inch 2-track US"])
@pytest.mark.parametrize("speed_ips", [7.5, 15, 30])
def test_neighbours_stay_within_half_a_turn_at_the_azimuth_tone(
    name: str, speed_ips: float
) -> None:
    """At 10 arc-min on 2-inch 24; at what is left after a rough setting on wider pitches."""
    known = trade.format_named(name)
    arcmin = 10 * 2.1336 / known.pitch_mm
    tone_hz = trade.azimuth_frequency_hz(speed_ips)
    assert abs(trade.phase_deg(arcmin, known.distance_mm(1, 2), speed_ips, tone_hz)) < 180


@pytest.mark.parametrize(
    ("speed_ips", "tones"),
    [
        (30, [(1000, 0), (10_000, 0), (100, 0), (16_000, 0)]),
        (15, [(1000, 0), (10_000, 0), (100, 0), (16_000, 0)]),
        (7.5, [(1000, 0), (10_000, -10), (100, 0), (16_000, -10)]),
        (3.75, [(1000, 0), (10_000, -10), (100, 0)]),
    ],
)
def test_line_up_tones(speed_ips: float, tones: list[tuple[float, float]]) -> None:
    """Common practice, no source; 10 kHz for azimuth at 3.75 ips: a public guide."""
    printed = trade.line_up_tones(speed_ips)
    assert [(t.frequency_hz, t.level_db) for t in printed] == tones
    assert all(t.duration_s >= 30 for t in printed)
    assert {t.duration_s for t in trade.line_up_tones(speed_ips, 45)} == {45}


def test_line_up_tones_of_an_unknown_speed() -> None:
    with pytest.raises(MisuseError, match=r"for 14 in/s; use 30, 15, 7\.5, 3\.75"):
        trade.line_up_tones(14)


def test_tolerances() -> None:
    """Common practice, no source."""
    tolerances = trade.Tolerances()
    assert tolerances.level == trade.LevelTolerance(hold_db=0.05, set_db=0.1, accept_db=0.25)
    assert tolerances.high_end == trade.LevelTolerance(hold_db=0.12, set_db=0.25, accept_db=0.5)
    assert tolerances.over_bias == trade.LevelTolerance(hold_db=0.15, set_db=0.25, accept_db=0.5)
    assert (tolerances.response_low_hz, tolerances.response_high_hz) == (60, 15_000)
    assert (tolerances.response_db, tolerances.speed_percent) == (2, 0.2)
    assert tolerances.flutter_2_sigma_percent == 0.06


@pytest.mark.parametrize(
    ("tape_width_mm", "set_arcmin"), [(6.3, 1), (6.25, 1), (12.6, 0.5), (25.4, 0.3), (50.7, 0.2)]
)
def test_azimuth_tolerance(tape_width_mm: float, set_arcmin: float) -> None:
    tolerance = trade.azimuth_tolerance(tape_width_mm)
    assert tolerance == trade.AzimuthTolerance(set_arcmin, 2 * set_arcmin)


def test_every_format_has_an_azimuth_tolerance() -> None:
    for known in trade.FORMATS:
        assert trade.azimuth_tolerance(known.tape_width_mm).set_arcmin > 0


def test_15_degrees_between_outer_tracks_as_an_angle() -> None:
    """Common practice: 1.4 arc-min on 1/4 inch and 0.11 on 2 inch, at 10 kHz and 15 ips."""
    for name, arcmin in [("1/4-inch 2-track US", 1.4), ("2-inch 24-track", 0.11)]:
        known = trade.format_named(name)
        distance_mm = known.distance_mm(1, known.tracks)
        delay_us = 15 / 360 / 10_000 * 1e6
        got = trade.azimuth_from_delay_arcmin(delay_us, distance_mm, 15)
        assert got == pytest.approx(arcmin, abs=0.06)


def test_unknown_formats_tracks_and_widths_are_refused() -> None:
    with pytest.raises(
        MisuseError, match=r"no track format '2-inch 32-track'.*1/4-inch full track"
    ):
        trade.format_named("2-inch 32-track")
    with pytest.raises(MisuseError, match="no track 25; give a track from 1 to 24"):
        trade.format_named("2-INCH 24-TRACK").distance_mm(1, 25)
    with pytest.raises(MisuseError, match="no track 0"):
        trade.format_named("2-inch 24-track").free_sides_mm(0)
    with pytest.raises(MisuseError, match="38 mm wide"):
        trade.azimuth_tolerance(38)


@pytest.mark.parametrize(("t1_us", "t2_us"), [(0, 35), (None, 0), (None, -35), (None, math.nan)])
def test_time_constants_that_cannot_be(t1_us: float | None, t2_us: float) -> None:
    with pytest.raises(MisuseError, match="cannot be used"):
        trade.Equalisation(t1_us, t2_us)


def test_equalisation_in_words() -> None:
    assert str(trade.standard_for(30)) == "17.5 us"
    assert str(trade.equalisation_named("nab", 15)) == "3180 + 50 us"


@pytest.mark.parametrize("drop_db", [-0.1, 20.1, math.nan])
def test_over_biases_that_cannot_be(drop_db: float) -> None:
    with pytest.raises(MisuseError, match="give 0 to 20 dB"):
        trade.translate_over_bias(drop_db, 10_000, 15, 9)


def test_a_tone_that_has_not_peaked_has_no_over_bias() -> None:
    with pytest.raises(MisuseError, match="has not reached its peak"):
        trade.translate_over_bias(0.1, 10_000, 7.5, 9, to_frequency_hz=1000)
    with pytest.raises(MisuseError, match="must be positive"):
        trade.translate_over_bias(3, 10_000, 15, 9, to_speed_ips=0)


def test_at_the_edges_of_a_formula() -> None:
    assert trade.gap_loss_db(trade.GAP_FACTOR**-1, 1.0) > 100
    assert trade.gap_loss_near_null_db(5.0, 5.0) == pytest.approx(
        trade.gap_loss_near_null_db(5.0, 5.001), abs=0.02
    )
    assert trade.thickness_loss_db(0.0, 10.0) == 0
    assert trade.thickness_loss_graded_db(0.0, 10.0) == 0
    assert trade.contour_db(0.0, 15, 4, 4) == -np.inf
    assert trade.print_through_shape_db(1.0, 1e6) == -np.inf
