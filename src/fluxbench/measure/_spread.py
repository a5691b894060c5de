"""How far a mean can be trusted, from blocks long enough to be independent."""

import numpy as np
from numpy.typing import NDArray

BLOCK_S = 0.5
"""Shortest block whose mean counts as independent of the next one's."""


def block_edges(points: int, duration_s: float) -> NDArray[np.int64]:
    """First point of every block: blocks of at least 0.5 s, but three at the least."""
    count = min(max(3, int(duration_s / BLOCK_S)), max(points, 1))
    return np.arange(count, dtype=np.int64) * points // count


def clustered_error(
    contributions: NDArray[np.float64], duration_s: float, parameters: int = 1
) -> NDArray[np.float64]:
    """Standard error of an estimate that is a sum over time, whatever repeats within a block.

    Parameters
    ----------
    contributions
        Shape (points, tracks): what each point's residual adds to the estimate.
    duration_s
        Length of all points together, in s.
    parameters
        How many numbers were fitted: 1 for a mean, 2 for a line.

    Returns
    -------
    numpy.ndarray
        Per track, in the unit of the estimate.

    Notes
    -----
    The square root of the sum of squared block sums, with the small-sample factor
    K / (K - parameters) for K blocks (cluster-robust variance, from memory). For the mean of
    equal blocks it is the standard deviation of the block means over the square root of K. Below
    1.5 s the blocks are shorter than 0.5 s and the error is only a rough one.

    Examples
    --------
    Blocks of means 0, 1 and 2: a standard deviation of 1 over the square root of 3.

    >>> values = np.repeat([0.0, 1.0, 2.0], 10)[:, None]
    >>> contributions = (values - values.mean()) / len(values)
    >>> round(float(clustered_error(contributions, 1.5)[0]), 6) == round(3 ** -0.5, 6)
    True
    """
    edges = block_edges(len(contributions), duration_s)
    sums = np.add.reduceat(contributions, edges, axis=0)
    count = len(edges)
    factor = count / max(count - parameters, 1)
    return np.asarray(np.sqrt(factor * np.sum(sums**2, axis=0)))
