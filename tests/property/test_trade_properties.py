"""What holds for the formulas of the trade whatever the numbers."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fluxbench import trade


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


speeds_ips = st.sampled_from([1.875, 3.75, 7.5, 15.0, 30.0])
frequencies_hz = between(20, 20_000)
wavelengths_um = between(5, 20_000)
formats = st.sampled_from(trade.FORMATS)
time_constants = st.tuples(st.none() | between(500, 5000), between(5, 250))
equalisations = time_constants.map(lambda t: trade.Equalisation(*t))


@given(frequencies_hz, speeds_ips)
def test_wavelength_and_back(frequency_hz: float, speed_ips: float) -> None:
    wavelength_um = trade.wavelength_um(frequency_hz, speed_ips)
    assert trade.frequency_hz(wavelength_um, speed_ips) == pytest.approx(frequency_hz)
    assert trade.wavelength_um(2 * frequency_hz, 2 * speed_ips) == pytest.approx(wavelength_um)


@given(equalisations, frequencies_hz, frequencies_hz)
def test_flux_falls_with_frequency(e: trade.Equalisation, one_hz: float, other_hz: float) -> None:
    low_hz, high_hz = sorted((one_hz, other_hz))
    assert e.flux_level_db(high_hz) <= e.flux_level_db(low_hz)
    assert e.flux_re_db(one_hz, re_hz=one_hz) == 0
    assert e.flux_re_db(one_hz, re_hz=other_hz) == -e.flux_re_db(other_hz, re_hz=one_hz)


@given(equalisations, between(2000, 20_000))
def test_coupling_is_what_a_small_trim_does(e: trade.Equalisation, frequency_hz: float) -> None:
    trimmed = trade.Equalisation(e.t1_us, e.t2_us * 1.001)
    moved_db = trimmed.flux_level_db(1000) - e.flux_level_db(1000)
    set_db = trimmed.flux_level_db(frequency_hz) - e.flux_level_db(frequency_hz)
    assert trade.high_trim_coupling(e, frequency_hz) == pytest.approx(moved_db / set_db, rel=0.01)
    assert 0 < trade.high_trim_coupling(e, frequency_hz) < 1


@given(between(0, 20), wavelengths_um, between(1.0, 3.0))
def test_losses_grow_towards_short_waves(length_um: float, wavelength_um: float, by: float) -> None:
    for loss in (
        trade.spacing_loss_db,
        trade.thickness_loss_db,
        trade.thickness_loss_graded_db,
    ):
        long_db, short_db = loss(length_um, np.array([wavelength_um * by, wavelength_um]))
        assert -1e-9 <= long_db <= short_db + 1e-9


@given(between(0.5, 8), between(1.3, 100), between(1.0, 3.0))
def test_gap_losses_grow_down_to_their_null(gap_um: float, in_gaps: float, by: float) -> None:
    wavelength_um = gap_um * in_gaps
    for loss in (trade.gap_loss_db, trade.gap_loss_near_null_db):
        long_db, short_db = loss(gap_um, np.array([wavelength_um * by, wavelength_um]))
        assert -1e-9 <= long_db <= short_db + 1e-9
    assume(in_gaps > 5)
    near = trade.gap_loss_near_null_db(gap_um, wavelength_um)
    assert near == pytest.approx(trade.gap_loss_db(gap_um, wavelength_um), abs=0.05)


@given(between(0.1, 30), between(5, 200))
def test_a_graded_coating_loses_more_and_an_even_one_as_much(
    coating_um: float, wavelength_um: float
) -> None:
    even_db = trade.thickness_loss_db(coating_um, wavelength_um)
    graded = trade.thickness_loss_graded_db
    assert graded(coating_um, wavelength_um) > even_db
    assert graded(coating_um, wavelength_um, surface=1.0) == pytest.approx(even_db)


@given(between(-15, 15), between(0.5, 6), wavelengths_um)
def test_azimuth_loses_alike_to_both_sides(
    azimuth_arcmin: float, track_width_mm: float, wavelength_um: float
) -> None:
    loss_db = trade.azimuth_loss_db(azimuth_arcmin, track_width_mm, wavelength_um)
    assert loss_db >= -1e-9
    assert trade.azimuth_loss_db(-azimuth_arcmin, track_width_mm, wavelength_um) == loss_db


@given(between(-60, 60), between(0.5, 50), speeds_ips)
def test_azimuth_from_delay_and_back(
    azimuth_arcmin: float, distance_mm: float, speed_ips: float
) -> None:
    delay_us = trade.delay_us(azimuth_arcmin, distance_mm, speed_ips)
    back = trade.azimuth_from_delay_arcmin(delay_us, distance_mm, speed_ips)
    assert back == pytest.approx(azimuth_arcmin, abs=1e-9)
    assert trade.delay_us(-azimuth_arcmin, distance_mm, speed_ips) == -delay_us


@given(frequencies_hz, speeds_ips, between(0.5, 6), between(0, 5), between(0, 5))
def test_fringing(
    frequency_hz: float, speed_ips: float, width_mm: float, side_1_mm: float, side_2_mm: float
) -> None:
    """At least nothing, at most all flux beside, alike for both sides, less at short waves."""
    rise_db = trade.fringing_rise_db(frequency_hz, speed_ips, width_mm, side_1_mm, side_2_mm)
    all_flux_db = 20 * np.log10(1 + (side_1_mm + side_2_mm) / width_mm)
    assert -1e-9 <= rise_db <= all_flux_db + 1e-9
    swapped = trade.fringing_rise_db(frequency_hz, speed_ips, width_mm, side_2_mm, side_1_mm)
    assert swapped == pytest.approx(rise_db)
    higher = trade.fringing_rise_db(2 * frequency_hz, speed_ips, width_mm, side_1_mm, side_2_mm)
    assert higher <= rise_db + 1e-9


@given(between(20, 500), between(0.5, 3), between(0.3, 3))
def test_side_crosstalk_is_the_flux_beside_less_that_of_the_guard(
    frequency_hz: float, width_mm: float, guard_mm: float
) -> None:
    """The rise by all flux out to the far edge, less that by the guard alone."""

    def beside(side_mm: float) -> float:
        rise_db = float(trade.fringing_rise_db(frequency_hz, 15, width_mm, side_mm, 0))
        return 10 ** (rise_db / 20) - 1

    ratio = beside(guard_mm + width_mm) - beside(guard_mm)
    crosstalk_db = trade.side_crosstalk_db(frequency_hz, 15, width_mm, guard_mm)
    assert 10 ** (crosstalk_db / 20) == pytest.approx(ratio, abs=1e-9)
    assert trade.side_crosstalk_db(2 * frequency_hz, 15, width_mm, guard_mm) < crosstalk_db


@given(between(8, 2000), between(2, 25), between(-8, 8))
def test_output_peaks_where_it_says(wavelength_um: float, gap_um: float, bias_db: float) -> None:
    peak_at_db = trade.peak_bias_db(wavelength_um, gap_um)
    over_bias_db = trade.over_bias_db(wavelength_um, np.array([peak_at_db, bias_db]), gap_um)
    assert over_bias_db[0] == pytest.approx(0, abs=1e-9)
    assert over_bias_db[1] >= -1e-9
    assert trade.peak_bias_db(2 * wavelength_um, gap_um) > peak_at_db
    assert trade.over_bias_db(wavelength_um, peak_at_db + 2, gap_um) > trade.over_bias_db(
        wavelength_um, peak_at_db + 1, gap_um
    )


@settings(max_examples=60)
@given(between(0.2, 8), between(3, 25), between(3, 25), speeds_ips, speeds_ips)
def test_translating_an_over_bias_and_back(
    drop_db: float, one_gap_um: float, other_gap_um: float, one_ips: float, other_ips: float
) -> None:
    """To a lower speed and a longer gap, where the fall is steeper, and back."""
    gap_um, to_gap_um = sorted((one_gap_um, other_gap_um))
    to_speed_ips, speed_ips = sorted((one_ips, other_ips))
    assert trade.translate_over_bias(drop_db, 5e3, speed_ips, gap_um).drop_db == pytest.approx(
        drop_db, abs=1e-6
    )
    there = trade.translate_over_bias(
        drop_db, 5e3, speed_ips, gap_um, to_speed_ips=to_speed_ips, to_record_gap_um=to_gap_um
    )
    assert there.drop_db >= drop_db - 1e-6
    assume(there.drop_db < 20)
    back = trade.translate_over_bias(
        there.drop_db, 5e3, to_speed_ips, to_gap_um, to_speed_ips=speed_ips, to_record_gap_um=gap_um
    )
    assert back.drop_db == pytest.approx(drop_db, abs=1e-6)
    assert back.bias_db == pytest.approx(there.bias_db, abs=1e-6)


@given(between(1, 2000), between(1, 2000))
def test_fluxivity_ratios_are_opposite(one: float, other: float) -> None:
    assert trade.fluxivity_ratio_db(one, other) == pytest.approx(
        -trade.fluxivity_ratio_db(other, one), abs=1e-9
    )


@given(between(-100, 40), between(0, 30))
def test_levels_and_back(level_dbu: float, full_scale_dbu: float) -> None:
    assert trade.dbu_from_volts(trade.volts_from_dbu(level_dbu)) == pytest.approx(level_dbu)
    assert trade.dbu_from_dbv(trade.dbv_from_dbu(level_dbu)) == pytest.approx(level_dbu)
    assert trade.dbu_from_vu(trade.vu_from_dbu(level_dbu)) == pytest.approx(level_dbu)
    level_dbfs = trade.dbfs_from_dbu(level_dbu, full_scale_dbu)
    assert trade.dbu_from_dbfs(level_dbfs, full_scale_dbu) == pytest.approx(level_dbu)
    assert trade.dbfs_from_dbu(full_scale_dbu, full_scale_dbu) == 0


@given(between(1, 5000), between(20, 60), between(40, 120), speeds_ips)
def test_reels(length_ft: float, thickness_um: float, hub_mm: float, speed_ips: float) -> None:
    time_s = trade.playing_time_s(length_ft, speed_ips)
    assert trade.length_played_ft(time_s, speed_ips) == pytest.approx(length_ft)
    radius_mm = trade.pack_radius_mm(np.array([0, length_ft]), thickness_um, hub_mm)
    assert radius_mm[0] == hub_mm / 2
    # The pack's face holds the tape's edge: the same area in mm2.
    area_mm2 = np.pi * (radius_mm[1] ** 2 - radius_mm[0] ** 2)
    assert area_mm2 == pytest.approx(thickness_um / 1000 * length_ft * 304.8)
    turns_s = 1 / trade.rotation_hz(speed_ips, 2 * radius_mm)
    np.testing.assert_allclose(trade.echo_delay_s(radius_mm, speed_ips), turns_s)


@given(between(10, 60), wavelengths_um)
def test_nothing_prints_more_than_the_worst_wavelength(h_um: float, wavelength_um: float) -> None:
    worst_um = trade.worst_print_wavelength_um(h_um)
    assert trade.print_through_shape_db(worst_um, h_um) == pytest.approx(0, abs=1e-9)
    assert trade.print_through_shape_db(wavelength_um, h_um) <= 1e-9


@given(formats)
def test_tracks_lie_evenly_on_the_tape(known: trade.Format) -> None:
    positions_mm = known.positions_mm
    assert positions_mm.shape == (known.tracks,)
    np.testing.assert_allclose(positions_mm, -positions_mm[::-1], atol=1e-12)
    assert known.outer_width_mm <= known.tape_width_mm
    assert known.guard_mm >= 0
    for track in range(1, known.tracks + 1):
        below_mm, above_mm = known.free_sides_mm(track)
        assert min(below_mm, above_mm) > 0
        assert below_mm + known.track_width_mm + above_mm == pytest.approx(known.tape_width_mm)
        mirrored = known.free_sides_mm(known.tracks + 1 - track)
        assert (above_mm, below_mm) == pytest.approx(mirrored)
        near = known.free_sides_to_mid_guard_mm(track)
        assert all(n <= f + 1e-9 for n, f in zip(near, (below_mm, above_mm), strict=True))
        distance_mm = known.distance_mm(1, track)
        assert distance_mm == pytest.approx(positions_mm[track - 1] - positions_mm[0])


@given(frequencies_hz, speeds_ips)
def test_arrays_broadcast_to_the_same_numbers(frequency_hz: float, speed_ips: float) -> None:
    """A column of track quantities against a row of frequencies, as the deck uses them."""
    hz = np.array([frequency_hz, frequency_hz / 2, 1000.0])
    um = trade.wavelength_um(hz, speed_ips)
    column = np.array([[0.3], [1.0]])
    for table, one in [
        (trade.spacing_loss_db(column, um), trade.spacing_loss_db(1.0, um[0])),
        (trade.gap_loss_db(column, um), trade.gap_loss_db(1.0, um[0])),
        (trade.gap_loss_near_null_db(column, um), trade.gap_loss_near_null_db(1.0, um[0])),
        (trade.thickness_loss_graded_db(column, um), trade.thickness_loss_graded_db(1.0, um[0])),
        (trade.azimuth_loss_db(column, 1, um), trade.azimuth_loss_db(1.0, 1, um[0])),
        (
            trade.fringing_rise_db(hz, speed_ips, 1, column, column),
            trade.fringing_rise_db(hz[0], speed_ips, 1, 1.0, 1.0),
        ),
        (trade.over_bias_db(um, column, 9), trade.over_bias_db(um[0], 1.0, 9)),
        (trade.contour_db(hz, speed_ips, 4, column), trade.contour_db(hz[0], speed_ips, 4, 1.0)),
    ]:
        assert table.shape == (2, 3)
        assert table.dtype == np.float64
        assert table[1, 0] == pytest.approx(float(one))
