"""Rates and forecasts against closed forms and general libraries."""

import numpy as np
import pytest
import scipy.stats

from fluxbench.history import Row, drift_of, rates_of, side_by_side, trails_of
from fluxbench.history._drift import weighted_median
from fluxbench.history._forecast import first_passage
from fluxbench.history._rate import WANDER_PER_ROOT_DAY, _chained, common_rate_of
from tests.benches.random_histories import stamp

DAYS = np.array([0.0, 7.0, 11.0, 30.0, 33.0, 50.0, 61.0, 80.0, 101.0, 120.0])


def rows_of(
    found: np.ndarray, left: np.ndarray, error: float = 0.01, trimmer: str = "reproduce_level"
) -> list[Row]:
    """Rows of tables (visits, tracks)."""
    return [
        Row(f"L{n}", stamp(20_000.0 + DAYS[n]), trimmer, t + 1, kind, float(table[n, t]), error)
        for n in range(len(found))
        for kind, table in (("found", found), ("left", left))
        for t in range(found.shape[1])
    ]


def test_first_passage_without_drift_is_the_reflection_principle() -> None:
    """2 Phi(-a/sqrt(w t)): Bachelier's, in any text on Brownian motion (from memory)."""
    days = np.array([1.0, 10.0, 100.0])
    got = first_passage(np.array(0.25), np.array(0.0), np.array(4e-4), days)
    assert got == pytest.approx(2.0 * scipy.stats.norm.cdf(-0.25 / np.sqrt(4e-4 * days)), rel=1e-9)


@pytest.mark.parametrize(("way", "rate", "wander"), [(0.25, 0.001, 1e-4), (0.5, 0.01, 2e-3)])
def test_first_passage_with_drift_is_the_inverse_gaussian(
    way: float, rate: float, wander: float
) -> None:
    """scipy's inverse Gaussian: mean a/r, shape a^2/w."""
    days = np.geomspace(1.0, 3000.0, 20)
    mean, shape = way / rate, way**2 / wander
    want = scipy.stats.invgauss.cdf(days, mean / shape, scale=shape)
    got = first_passage(np.array(way), np.array(rate), np.array(wander), days)
    assert got == pytest.approx(want, abs=1e-9)


def test_rate_and_likelihood_are_those_of_the_whole_covariance() -> None:
    """The chain against dense generalised least squares by numpy's linear algebra."""
    rng = np.random.default_rng(4)
    moves = rng.normal(0.0, 0.03, (len(DAYS), 1))
    drift = drift_of(trails_of(rows_of(moves, np.zeros_like(moves)))["reproduce_level"])
    usable = np.ones((len(DAYS) - 1, 1), np.bool_)
    of_a_day = 0.02
    log, centre, sigma = _chained(drift, drift.move, drift.error, usable, of_a_day)
    x, y = drift.days, drift.move[:, 0]
    assert not drift.bad_day.any()
    for n, wander in enumerate(WANDER_PER_ROOT_DAY**2):
        cov = np.diag(wander * x + drift.error[:, 0] ** 2 + 2.0 * of_a_day**2)
        cov -= of_a_day**2 * (np.eye(len(x), k=1) + np.eye(len(x), k=-1))
        inverse = np.linalg.inv(cov)
        xx, xy = x @ inverse @ x, x @ inverse @ y
        rest = y - x * xy / xx
        want = -0.5 * (np.linalg.slogdet(cov)[1] + rest @ inverse @ rest + np.log(xx))
        assert centre[n, 0] == pytest.approx(xy / xx, rel=1e-9)
        assert sigma[n, 0] == pytest.approx(xx**-0.5, rel=1e-9)
        assert log[n, 0] == pytest.approx(want, rel=1e-9)


def test_a_steady_drift_is_found_and_a_bad_day_makes_no_trend() -> None:
    steps = np.diff(DAYS, prepend=DAYS[0])
    found = np.outer(steps, np.array([0.002, 0.0, 0.0, 0.0, -0.001]))
    left = np.zeros_like(found)
    found[6] += 0.9  # the whole day reads high, the deck does not
    left[6] += 0.9
    rates = rates_of(drift_of(trails_of(rows_of(found, left, 0.005))["reproduce_level"]))
    assert rates.per_day == pytest.approx([0.002, 0.0, 0.0, 0.0, -0.001], abs=2e-4)
    common = common_rate_of(drift_of(trails_of(rows_of(found, left, 0.005))["reproduce_level"]))
    assert abs(common.per_day[0]) < 2e-4


def test_first_found_and_last_left_stand_and_nothing_read_is_no_number() -> None:
    at = stamp(20_000.0)
    told = [("found", 0.5), ("found", 0.1), ("left", 0.2), ("left", 0.0)]
    rows = [Row("L", at, "bias", 1, kind, value, 0.01) for kind, value in told]
    rows.append(Row("L", at, "bias", 2, "left", 0.3, None))
    rows.append(Row("L", at, "bias", 2, "found", None, None))
    trail = trails_of(rows)["bias"]
    assert (trail.found[0, 0], trail.left[0, 0]) == (0.5, 0.0)
    assert np.isnan(trail.found[0, 1])
    assert trail.left_error[0, 1] == 0.02


def test_tapes_stand_side_by_side_by_their_difference() -> None:
    """Tape B was given 0.12 dB more: it reads 0.12 dB high, as far as the spread lets see."""
    rng = np.random.default_rng(3)
    reads = np.array([0.0, 0.12, 0.0, 0.0, 0.12, 0.0, 0.12, 0.0, 0.0, 0.12])[:, np.newaxis]
    found = reads + rng.normal(0.0, 0.01, (10, 8))
    left = reads + rng.normal(0.0, 0.01, (10, 8))
    labels = {f"L{n}": "b" if reads[n, 0] else "a" for n in range(10)}
    a, b = side_by_side(trails_of(rows_of(found, left))["reproduce_level"], labels)
    assert (a.label, a.reads) == ("a", 0.0)
    assert b.reads is not None
    assert b.error is not None
    assert abs(b.reads - 0.12) < 3.0 * b.error < 0.06
    assert b.changes == 7


def test_weighted_median_leaves_half_of_the_weight_on_either_side() -> None:
    values = np.array([[1.0], [2.0], [50.0]])
    assert weighted_median(values, np.array([[1.0], [5.0], [1.0]]))[0] == 2.0
    assert weighted_median(values, np.array([[1.0], [1.0], [5.0]]))[0] == 50.0
