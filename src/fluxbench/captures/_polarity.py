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
"""A delay that tape can have turns 1 kHz by less; our choice."""


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
        off_deg = np.abs(tone.phase_deg)
        here = np.where(off_deg < _SAME_DEG, 1, np.where(off_deg > 180.0 - _SAME_DEG, -1, 0))
        if np.count_nonzero(here) > np.count_nonzero(told):
            told = here
    if np.count_nonzero(told < 0) > np.count_nonzero(told > 0):
        told = -told
    return tuple(int(way) for way in told)


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
