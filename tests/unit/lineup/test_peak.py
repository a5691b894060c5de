"""The peak of S against D, on curves of the published form with noise common to both axes."""

import numpy as np
import pytest

from fluxbench.lineup import find_peak
from fluxbench.lineup._peak import Fall, bends, fitted_fall
from fluxbench.trade import long_wave_sensitivity_db, short_wave_loss_db


def curves(bias_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """S and M (dB) at 38.1 and 381 um; the closed form of the trade package (fitted constants)."""
    long = long_wave_sensitivity_db(bias_db)
    # losses are positive dB
    return long - short_wave_loss_db(38.1, bias_db, 9.0), long - short_wave_loss_db(
        381.0, bias_db, 9.0
    )


def sweep(noise_db: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Down past the peak and up again at 0.6 dB of bias a second, 10 points a second."""
    bias_db = np.concatenate([np.linspace(0.6, -6.5, 118), np.linspace(-6.5, 0.8, 122)])
    s, m = curves(bias_db)
    rng = np.random.default_rng(seed)
    contact = np.convolve(rng.normal(0.0, 1.0, len(s) + 4), np.ones(5) / np.sqrt(5), "valid")
    s = s + noise_db * contact
    return s, s - m


def test_the_peak_is_right_without_noise() -> None:
    s, d = sweep(0.0, 0)
    peak = find_peak(s, d)
    assert peak is not None
    truth = curves(np.linspace(-7.0, 1.0, 4001))[0].max()
    assert peak.level_db == pytest.approx(truth, abs=0.06)  # a cubic is not the curve


def test_the_peak_is_right_in_the_mean_with_contact_noise() -> None:
    truth = curves(np.linspace(-7.0, 1.0, 4001))[0].max()
    off = np.array([p.level_db - truth for i in range(40) if (p := find_peak(*sweep(0.12, i)))])
    assert len(off) == 40
    assert abs(off.mean()) < 0.03
    assert off.std() < 0.06


def test_no_peak_before_points_lie_on_both_sides() -> None:
    s, m = curves(np.linspace(1.0, -3.0, 80))
    assert find_peak(s, s - m) is None


def test_a_turned_back_d_is_seen_and_a_straight_one_is_not() -> None:
    straight = np.linspace(0.0, 6.0, 100)
    assert not bends(straight, [(0, -1)])
    bent = straight - 2.5 * np.exp(-(((np.arange(100) - 60) / 8.0) ** 2))
    assert bends(bent, [(0, -1)])


def test_where_the_sheets_fall_will_be_is_told_from_what_was_passed() -> None:
    """Against the curves themselves: from 2.2 dB of fall seen, where 3 dB are, to 0.3 dB of D."""
    bias_db = np.concatenate([np.linspace(0.4, -6.5, 100), np.linspace(-6.5, -3.0, 60)])
    s, m = curves(bias_db)
    peak = find_peak(s, s - m)
    assert peak is not None
    assert 1.5 < peak.level_db - s[0] < 2.6
    fine_s, fine_m = curves(np.linspace(-4.0, 4.0, 4001))
    fallen = int(np.argmax(peak.level_db - fine_s >= 3.0))
    fall = fitted_fall(s, s - m, peak)
    assert fall is not None
    found = peak.difference_db - fall.distance_db(3.0)
    assert found == pytest.approx(float((fine_s - fine_m)[fallen]), abs=0.3)


def test_how_far_the_peak_is_follows_from_how_steeply_short_waves_rise() -> None:
    """Closed form: the derivative of a x²/(1 + c x), and its inverse, at x = 2."""
    fall = Fall(0.5, 0.25)
    step = 1e-4
    slope = (0.5 * (2 + step) ** 2 / (1 + 0.25 * (2 + step)) - 0.5 * 4 / 1.5) / step
    assert fall.distance_of_slope(slope, 4.0) == pytest.approx(2.0, abs=0.03)
    assert fall.distance_of_slope(0.0, 4.0) == 0.0
    assert fall.distance_of_slope(99.0, 4.0) == 4.0
    assert fall.distance_db(0.5 * 4 / 1.5) == pytest.approx(2.0)


def test_nothing_is_told_of_a_fall_of_which_too_little_was_seen() -> None:
    bias_db = np.concatenate([np.linspace(-1.4, -6.5, 100), np.linspace(-6.5, -3.0, 60)])
    s, m = curves(bias_db)
    peak = find_peak(s, s - m)
    assert peak is not None
    assert fitted_fall(s, s - m, peak) is None
