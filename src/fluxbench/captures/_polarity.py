"""Tracks of the wrong polarity, told by a long wave, and the delays once they are turned round."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._azimuth import azimuth_of
from fluxbench.captures._results import CaptureAzimuth, MeasuredSection
from fluxbench.measure import DelaysReading

_LONG_WAVES_HZ = (80.0, 1100.0)
_SAME_DEG = 60.0
"""A delay that tape can have from a track to the next turns 1 kHz by less: 10 arc-min on a 2-inch
24-track at 7.5 in/s by 12 degrees, but the outer tracks by 270. Our choice."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the tracks of a capture lie to each other.

    `polarity` has one entry a track: 1, -1 for the minority that is reversed against the others
    (of two tracks: the second), 0 where no tone tells. `azimuth` is that of the tracks turned.
    """

    polarity: tuple[int, ...]
    azimuth: CaptureAzimuth


def alignment_of(sections: Sequence[MeasuredSection], tracks: Sequence[int]) -> Alignment:
    """Tell polarity by the longest valid tone from 80 Hz to 1.1 kHz, and the delays with it."""
    polarity = _polarity(sections, len(tracks))
    if -1 not in polarity:
        return Alignment(polarity, azimuth_of(sections, tracks))
    reversed_ones = np.array(polarity) < 0
    turned = [_turned(section, reversed_ones) for section in sections]
    return Alignment(polarity, azimuth_of(turned, tracks))


def _polarity(sections: Sequence[MeasuredSection], tracks: int) -> tuple[int, ...]:
    low_hz, high_hz = _LONG_WAVES_HZ
    tones = [
        section.tone.tone
        for section in sections
        if section.tone is not None
        and set(section.validity) <= {Validity.OK}
        and low_hz <= section.tone.tone.nominal_hz <= high_hz
    ]
    told = np.zeros(tracks, int)
    for tone in sorted(tones, key=lambda tone: tone.nominal_hz):
        here = _from_track_to_track(tone.phase_deg)
        if np.count_nonzero(here) > np.count_nonzero(told):
            told = here
    if np.count_nonzero(told < 0) > np.count_nonzero(told > 0):
        told = -told
    return tuple(int(way) for way in told)


def _from_track_to_track(phase_deg: NDArray[np.float64]) -> NDArray[np.int_]:
    """Ways of the tracks re the first valid one, 0 where it cannot be told.

    Each is compared with the last one before it that could be told: an azimuth turns the phase a
    little from track to track, a wrong polarity by half a turn.
    """
    ways = np.zeros(len(phase_deg), int)
    last: int | None = None
    for track in np.flatnonzero(np.isfinite(phase_deg)).tolist():
        if last is None:
            ways[track], last = 1, track
            continue
        off_deg = abs((phase_deg[track] - phase_deg[last] + 180.0) % 360.0 - 180.0)
        if off_deg < _SAME_DEG or off_deg > 180.0 - _SAME_DEG:
            ways[track], last = ways[last] * (1 if off_deg < _SAME_DEG else -1), track
    return ways


def _turned(section: MeasuredSection, reversed_ones: NDArray[np.bool_]) -> MeasuredSection:
    if section.tone is None:
        return section
    delays = _delays_turned(section.tone.delays, reversed_ones)
    return replace(section, tone=replace(section.tone, delays=delays))


def _delays_turned(delays: DelaysReading, reversed_ones: NDArray[np.bool_]) -> DelaysReading:
    """Half a turn off the reversed ones, then neighbours within half a period of each other."""
    valid: Sequence[int] = np.flatnonzero(np.isfinite(delays.delay_us)).tolist()
    if not valid:
        return delays
    turn_us = 1e6 / delays.frequency_hz
    turned_us = delays.delay_us - np.where(reversed_ones, turn_us / 2.0, 0.0)
    turned_us = turned_us - turned_us[valid[0]]
    for before, track in pairwise(valid):
        turned_us[track] += np.rint((turned_us[before] - turned_us[track]) / turn_us) * turn_us
    return replace(delays, delay_us=turned_us)
