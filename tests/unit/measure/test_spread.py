"""Standard errors from blocks."""

import numpy as np
import pytest
from scipy import stats

from fluxbench.measure._spread import block_edges, clustered_error


def test_blocks_are_half_a_second_or_three() -> None:
    assert block_edges(1_000, 5.0).tolist() == list(range(0, 1_000, 100))
    assert block_edges(1_000, 5.4).tolist() == list(range(0, 1_000, 100))
    assert len(block_edges(1_000, 0.4)) == 3
    assert block_edges(2, 5.0).tolist() == [0, 1]


def test_equal_blocks_give_the_standard_error_of_their_means() -> None:
    # Outside reference: scipy.stats.sem of the block means.
    values = np.random.default_rng(1).standard_normal((800, 3)).cumsum(axis=0)
    contributions = (values - values.mean(axis=0)) / len(values)
    theirs = stats.sem(values.reshape(8, 100, 3).mean(axis=1), axis=0)
    assert clustered_error(contributions, 4.0) == pytest.approx(theirs)


def test_a_line_through_white_noise_has_the_error_of_regression() -> None:
    # Outside reference: scipy.stats.linregress, on average over many lines.
    random = np.random.default_rng(2)
    time_s = np.linspace(-1, 1, 600)
    pull = (time_s / np.sum(time_s**2))[:, None]
    noise = random.standard_normal((600, 400))
    noise -= noise.mean(axis=0)
    residual = noise - time_s[:, None] * np.sum(pull * noise, axis=0)
    ours = clustered_error(pull * residual, 10.0, parameters=2)
    theirs = np.mean([stats.linregress(time_s, column).stderr for column in noise.T])
    assert np.sqrt(np.mean(ours**2)) == pytest.approx(theirs, rel=0.12)
