"""How much a tape holds: level at 3 % third harmonic, highest short-wave output, compression."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity

F64 = NDArray[np.float64]

THIRD_HARMONIC_LIMIT_PERCENT = 3.0
_LINEAR_BELOW_DB = 3.0


@dataclass(frozen=True, slots=True)
class MaximumOutput:
    """Output of one track at the limit of third harmonic; `frequency_hz` is that of the tone.

    `NO_SIGNAL` if the sweep of levels does not cross the limit: NaN.
    """

    frequency_hz: float
    output_db: float
    standard_error_db: float
    sent_db: float
    validity: Validity


@dataclass(frozen=True, slots=True)
class HighestOutput:
    """The highest short-wave output of one track, where more sent gives no more.

    `UNSTABLE` if the output still rises at the last level: NaN.
    """

    frequency_hz: float
    output_db: float
    sent_db: float
    validity: Validity


def maximum_output(
    frequency_hz: float,
    sent_db: F64,
    output_db: F64,
    third_percent: F64,
    third_error_percent: F64,
    limit_percent: float = THIRD_HARMONIC_LIMIT_PERCENT,
) -> MaximumOutput:
    """Find the output at which third harmonic reaches 3 % in a sweep of levels.

    Parameters
    ----------
    frequency_hz
        Of the tone; it belongs to the result.
    sent_db, output_db
        Levels sent and read, shape (steps,), dB re the same zero.
    third_percent, third_error_percent
        Third harmonic of each step and its standard error; NaN where it was not heard.
    limit_percent
        3 by common practice (DIN 45500: 30.5 dB below).

    Returns
    -------
    MaximumOutput
        Straight between the two steps around the limit, over the logarithm of the harmonic.

    Raises
    ------
    MisuseError
        The arrays are not of one length.

    Examples
    --------
    Third harmonic rises 2 dB a dB (a cubic): 0.5 % at 0 dB is 3 % at 7.78 dB.

    >>> sent = np.arange(0.0, 13.0)
    >>> third = 0.5 * 10 ** (2 * sent / 20)
    >>> round(maximum_output(1000.0, sent, sent, third, 0.01 * third).output_db, 2)
    7.78
    """
    if len({len(sent_db), len(output_db), len(third_percent), len(third_error_percent)}) > 1:
        raise MisuseError("a sweep of levels needs one output and one harmonic for each level sent")
    known = np.isfinite(third_percent) & np.isfinite(output_db)
    order = np.flatnonzero(known)[np.argsort(np.asarray(sent_db)[known])]
    above_db = 20.0 * np.log10(np.asarray(third_percent)[order] / limit_percent)
    crossing = np.flatnonzero((above_db[:-1] < 0.0) & (above_db[1:] >= 0.0))
    if len(crossing) == 0:
        return MaximumOutput(frequency_hz, np.nan, np.nan, np.nan, Validity.NO_SIGNAL)
    low, high = order[crossing[0]], order[crossing[0] + 1]
    at = -above_db[crossing[0]] / (above_db[crossing[0] + 1] - above_db[crossing[0]])
    rise = (above_db[crossing[0] + 1] - above_db[crossing[0]]) / max(
        float(output_db[high] - output_db[low]), 1e-9
    )
    errors_db = 20.0 / np.log(10.0) * np.asarray(third_error_percent) / np.asarray(third_percent)
    error_db = np.hypot((1.0 - at) * errors_db[low], at * errors_db[high]) / rise
    return MaximumOutput(
        frequency_hz,
        float(output_db[low] + at * (output_db[high] - output_db[low])),
        float(error_db),
        float(sent_db[low] + at * (sent_db[high] - sent_db[low])),
        Validity.OK,
    )


def highest_output(frequency_hz: float, sent_db: F64, output_db: F64) -> HighestOutput:
    """Find the highest output in a sweep of levels of a short wave, (steps,), by a parabola.

    Examples
    --------
    >>> sent = np.arange(0.0, 13.0)
    >>> highest_output(10_000.0, sent, 6.0 - 0.1 * (sent - 8.0) ** 2).output_db
    6.0
    """
    known = np.flatnonzero(np.isfinite(output_db))
    order = known[np.argsort(np.asarray(sent_db)[known])]
    if len(order) < 3 or int(np.argmax(output_db[order])) in (0, len(order) - 1):
        return HighestOutput(frequency_hz, np.nan, np.nan, Validity.UNSTABLE)
    top = int(np.argmax(output_db[order]))
    around = order[top - 1 : top + 2]
    bend, slope, height = np.polyfit(sent_db[around] - sent_db[around[1]], output_db[around], 2)
    shift = -slope / (2.0 * bend) if bend < 0.0 else 0.0
    return HighestOutput(
        frequency_hz,
        round(float(height + slope * shift + bend * shift**2), 9),
        float(sent_db[around[1]] + shift),
        Validity.OK,
    )


def compression_db(sent_db: F64, output_db: F64) -> F64:
    """How much less each output is than the lowest levels foretell, (steps,), positive: less.

    The gain is the mean of the steps within 3 dB of the lowest that was heard: higher ones may
    be squeezed already.

    Examples
    --------
    >>> compression_db(np.array([-20.0, -10.0, 0.0]), np.array([-21.0, -11.0, -1.5]))
    array([0. , 0. , 0.5])
    """
    known = np.isfinite(output_db)
    if not known.any():
        return np.full(len(output_db), np.nan)
    low = known & (sent_db <= np.min(sent_db[known]) + _LINEAR_BELOW_DB)
    gain_db = float(np.mean((output_db - sent_db)[low]))
    return np.asarray(sent_db + gain_db - output_db)
