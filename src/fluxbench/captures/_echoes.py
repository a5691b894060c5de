"""Print-through in a capture: a loud burst of a tone in silence, and its echoes a turn away."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._again import frequency_hz, groups_of, side_by_side
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._stretch import Capture, Stretch
from fluxbench.measure import (
    LONGEST_TURN_S,
    EchoesReading,
    echoes,
    narrow_powers,
    turn_of,
)

_LONGEST_S = 3.0
_LEAST_QUIET_S = 0.6
"""Besides the length of the burst, on either side."""
_QUIET_DB = 25.0


def echoes_around(
    capture: Capture, section: MeasuredSection, sections: Sequence[MeasuredSection]
) -> EchoesReading | None:
    """Echoes of a tone of up to 3 s with silence before and after it; None of any other."""
    length_s, at_hz = section.end_s - section.start_s, frequency_hz(section)
    if length_s > _LONGEST_S or not at_hz > 0.0:
        return None
    first_s, last_s = _quiet(capture, section)
    if min(section.start_s - first_s, last_s - section.end_s) < length_s + _LEAST_QUIET_S:
        return None
    rate_hz = capture.header.rate_hz
    first, last = round(first_s * rate_hz), round(last_s * rate_hz)
    stretch = Stretch(capture, first, last, lambda frames: None)
    burst_s = section.start_s - first / rate_hz, section.end_s - first / rate_hz
    powers = [narrow_powers(_finite(some), rate_hz, at_hz) for some in groups_of(stretch)]
    turn_s = turn_of(np.concatenate(powers, axis=1), *burst_s)
    readings = [echoes(some, rate_hz, at_hz, *burst_s, turn_s) for some in groups_of(stretch)]
    return EchoesReading(
        turn_s,
        side_by_side([reading.before for reading in readings]),
        side_by_side([reading.after for reading in readings]),
    )


def _finite(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)


def _quiet(capture: Capture, section: MeasuredSection) -> tuple[float, float]:
    """How far to either side nothing is nearly as loud, in s from the start of the file."""
    scan = capture.scan
    start_s = capture.first_frame / capture.header.rate_hz
    begin, end = (round((at_s - start_s) / scan.hop_s) for at_s in (section.start_s, section.end_s))
    power = scan.track_power.sum(axis=1)
    limit = float(np.median(power[begin:end])) * 10.0 ** (-_QUIET_DB / 10.0)
    reach = round((LONGEST_TURN_S + _LONGEST_S) / scan.hop_s)
    loud = np.flatnonzero(power > limit)
    before, after = loud[loud < begin - 1], loud[loud > end + 1]
    first = max(begin - reach, 0, int(before[-1]) + 2 if len(before) else 0)
    last = min(end + reach, scan.hops, int(after[0]) - 2 if len(after) else scan.hops)
    return start_s + first * scan.hop_s, start_s + last * scan.hop_s
