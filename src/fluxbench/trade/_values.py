"""What the formulas take and give: numbers or arrays of them, which broadcast."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Results; numbers in give numpy's scalar, which `float()` turns into a plain number."""

Values = float | Array


def decibels(amplitude_ratio: Values) -> Array:
    """20 lg of the size of an amplitude ratio; a ratio of 0 gives minus infinity."""
    with np.errstate(divide="ignore"):
        level_db: Array = 20.0 * np.log10(np.abs(amplitude_ratio))
    return level_db
