"""Delays across the tape from plain geometry, through flutter, wander and dead tracks."""

import numpy as np
import pytest
from scipy import signal

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._azimuth import track_delays
from fluxbench.measure._pair_delay import pair_delay

RATE_HZ = 48_000
PITCH_MM = 49.08 / 23


def capture(
    delays_us: np.ndarray, frequencies_hz: tuple[float, ...], duration_s: float, seed: int
) -> np.ndarray:
    """Tones with flutter common to all tracks; `delays_us` is (tracks,) or (frames, tracks)."""
    random = np.random.default_rng(seed)
    time_s = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    for peak, rate in ((2e-4, 0.7), (2e-4, 5.2), (2e-4, 27.0), (2e-4, 95.0)):
        time_s = time_s + peak / (2 * np.pi * rate) * np.sin(2 * np.pi * rate * time_s)
    late_s = time_s[:, None] - 1e-6 * delays_us
    wave = 1e-4 * random.standard_normal(late_s.shape)
    for frequency_hz in frequencies_hz:
        wave += 0.1 * np.sin(2 * np.pi * frequency_hz * late_s)
    return wave


def test_an_arc_minute_on_two_inch_24_track() -> None:
    # Geometry: delay = distance · tan(angle) / speed; 1 arc-min, 49.08 mm, 381 mm/s: 37.47 us,
    # which is 134.9 degrees at 10 kHz.
    places_mm = PITCH_MM * np.arange(24)
    for minutes in (1.0, -1.0, 9.0):
        slope = 1e6 * np.tan(np.radians(minutes / 60)) / 381.0
        reading = track_delays(
            capture(slope * places_mm, (10_000.0,), 1.5, 1), RATE_HZ, 10_000.0, places_mm
        )
        assert reading.delay_us[-1] == pytest.approx(minutes * 37.47, abs=0.01 * abs(minutes))
        assert reading.slope_us_per_mm == pytest.approx(slope, rel=1e-4)
        assert np.max(np.abs(reading.scatter_us)) < 0.01


def test_gap_scatter_is_what_the_line_leaves() -> None:
    # Second opinion: numpy.polyfit of the delays that were put in.
    places_mm = PITCH_MM * np.arange(16)
    delays_us = 0.8 * places_mm + np.random.default_rng(2).normal(0, 1.0, 16)
    reading = track_delays(capture(delays_us, (10_000.0,), 1.5, 3), RATE_HZ, 10_000.0, places_mm)
    slope, at_zero = np.polyfit(places_mm, delays_us, 1)
    assert reading.slope_us_per_mm == pytest.approx(slope, abs=1e-3)
    assert reading.scatter_us == pytest.approx(delays_us - slope * places_mm - at_zero, abs=0.02)
    assert reading.delay_us == pytest.approx(delays_us - delays_us[0], abs=0.02)


def test_wander_beyond_half_a_turn_between_outer_tracks() -> None:
    # 600 microradian p-p of natural wander (PHYSICS 5) is ±38 us over 49 mm: ±140 degrees.
    places_mm = PITCH_MM * np.arange(24)
    time_s = np.arange(5 * RATE_HZ) / RATE_HZ
    skew = 300e-6 * np.sin(2 * np.pi * 0.5 * time_s + 0.3) * 1e6 / 381.0
    slopes = 1.2 + skew
    reading = track_delays(
        capture(slopes[:, None] * places_mm, (10_000.0,), 5.0, 4), RATE_HZ, 10_000.0, places_mm
    )
    assert reading.slope_us_per_mm == pytest.approx(np.mean(slopes), abs=0.01)
    assert reading.slope_standard_error_us_per_mm > 0.03


def test_the_stated_error_of_the_slope_is_that_of_repeated_takes() -> None:
    random = np.random.default_rng(5)
    places_mm = 4.0 * np.arange(2)
    slopes, stated = [], []
    for seed in range(60):
        wander = signal.lfilter([1], [1, -np.exp(-6.0 / RATE_HZ)], random.normal(size=290_000))
        wander = wander[50_000:] / np.sqrt(RATE_HZ / 12.0)
        reading = track_delays(
            capture(wander[:, None] * places_mm, (10_000.0,), 5.0, seed),
            RATE_HZ,
            10_000.0,
            places_mm,
        )
        slopes.append(reading.slope_us_per_mm)
        stated.append(reading.slope_standard_error_us_per_mm)
    assert 0.7 < np.sqrt(np.mean(np.square(stated))) / np.std(slopes) < 1.35


def test_dead_tracks_are_left_out_and_the_first_valid_one_is_the_reference() -> None:
    places_mm = PITCH_MM * np.arange(8)
    wave = capture(2.0 * places_mm, (10_000.0,), 1.5, 6)
    wave[:, [0, 4]] = 0.0
    wave[100, 5] = np.nan
    reading = track_delays(wave, RATE_HZ, 10_000.0, places_mm)
    assert reading.reference_track == 2
    assert [v.value for v in reading.track_validity] == [
        "no_signal", "ok", "ok", "ok", "no_signal", "not_finite", "ok", "ok",
    ]  # fmt: skip
    assert reading.slope_us_per_mm == pytest.approx(2.0, abs=1e-3)
    assert np.flatnonzero(np.isnan(reading.delay_us)).tolist() == [0, 4, 5]


def test_fewer_than_two_valid_tracks_give_no_slope() -> None:
    wave = capture(np.zeros(2), (10_000.0,), 1.5, 7)
    wave[:, 1] = 0.0
    reading = track_delays(wave, RATE_HZ, 10_000.0, (0.0, 4.0))
    assert reading.validity is Validity.NO_SIGNAL
    assert np.isnan(reading.slope_us_per_mm)
    assert reading.reference_track == 1


@pytest.mark.parametrize("delay_us", [-310.0, -37.47, 0.0, 120.0, 480.0])
def test_an_outer_pair_with_several_tones(delay_us: float) -> None:
    wave = capture(np.array([0.0, delay_us]), (1_000.0, 3_000.0, 10_000.0), 2.0, 8)
    reading = pair_delay(wave, RATE_HZ, (1_000.0, 3_000.0, 10_000.0))
    assert reading.delay_us == pytest.approx(delay_us, abs=0.02)
    assert reading.unambiguous_us == pytest.approx(500.0, rel=1e-3)
    assert np.max(reading.misfit_deg) < 2.0


def test_tones_that_disagree_and_tones_that_miss() -> None:
    tones_hz = (1_000.0, 3_000.0)
    wave = capture(np.array([0.0, 50.0]), (3_000.0,), 2.0, 9)
    # 1 kHz a sixth of a turn off foretells half a turn more at 3 kHz than there is.
    angle = 2 * np.pi * 1_000.0 * (np.arange(len(wave)) / RATE_HZ)
    wave[:, 0] += 0.1 * np.sin(angle)
    wave[:, 1] += 0.1 * np.sin(angle - 2 * np.pi * (0.05 + 1 / 6.5))
    reading = pair_delay(wave, RATE_HZ, tones_hz)
    assert reading.validity is Validity.UNSTABLE
    assert np.isnan(reading.delay_us)
    assert reading.misfit_deg[1] == pytest.approx(3 * 360 / 6.5, abs=1.0)
    alone = pair_delay(capture(np.array([0.0, 50.0]), (3_000.0,), 2.0, 9), RATE_HZ, tones_hz)
    assert alone.tone_validity == (Validity.NO_SIGNAL, Validity.OK)
    assert alone.delay_us == pytest.approx(50.0, abs=0.02)
    assert alone.unambiguous_us == pytest.approx(1e6 / 6_000, rel=1e-3)
    none = pair_delay(np.zeros((96_000, 2)), RATE_HZ, tones_hz)
    assert none.validity is Validity.NO_SIGNAL
    assert np.isnan(none.delay_us)


def test_misuse_is_told() -> None:
    wave = np.zeros((48_000, 3))
    for places_mm in ((0.0, 1.0), (0.0, 1.0, 1.0), (0.0, 1.0, np.nan)):
        with pytest.raises(MisuseError):
            track_delays(wave, RATE_HZ, 1_000.0, places_mm)
    with pytest.raises(MisuseError):
        pair_delay(wave, RATE_HZ, (1_000.0,))
    with pytest.raises(MisuseError):
        pair_delay(wave[:, :2], RATE_HZ, (3_000.0, 1_000.0))
