"""Responses one tone after the other: steps, and a sweep that glides over log frequency."""

from collections.abc import Sequence
from dataclasses import dataclass

from fluxbench.measure._response import ResponseReading
from fluxbench.measure._spectrum import Samples


@dataclass(frozen=True, slots=True)
class LowEndReading:
    """The low end of one track: its bump and dip, and the compromise of 30 to 300 Hz.

    NaN where the points do not show a bump or a dip. `mean_db` is the mean of the response over
    log frequency, 30 to 300 Hz, re the level at the reference frequency.
    """

    bump_hz: float
    bump_db: float
    dip_hz: float
    dip_db: float
    mean_db: float
    mean_standard_error_db: float


def stepped_levels(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> ResponseReading:
    """Measure tones that were sent one after the other, in whatever order and length."""
    raise NotImplementedError


def sweep_levels(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> ResponseReading:
    """Measure the level at some frequencies while one sweep glides over log frequency."""
    raise NotImplementedError


def low_end(response: ResponseReading, reference_hz: float = 1000.0) -> tuple[LowEndReading, ...]:
    """Find bump, dip and compromise of every track in a response with points below 300 Hz."""
    raise NotImplementedError
