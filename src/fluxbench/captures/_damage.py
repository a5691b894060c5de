"""What a capture says against a section: values that are no numbers, nothing there, lost frames."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._scan import Scan
from fluxbench.captures._sections import SHORTEST_S, Kind, Section
from fluxbench.captures._stretch import Capture

_GAP_S = 1e-3
_GAP_FRAMES = 8
_STEP_8_BITS, _STEP_16_BITS = 2.0**-7, 2.0**-15
"""What is smaller may be zero; 24 bits and floats are often made of 16."""
_GAP_LEAST_DBFS = -40.0
_LOST_SHARE = 0.5


def apart_at_damage(sections: Sequence[Section], scan: Scan) -> list[Section]:
    """Sections of a file with frames that cannot be had; what goes on beyond them is another."""
    if not scan.failed_frames:
        return list(sections)
    lost = scan.silent_frames > _LOST_SHARE * scan.hop_frames
    return [whole for section in sections for whole in _between(section, lost, scan.hop_s)]


def _between(section: Section, lost: NDArray[np.bool_], hop_s: float) -> list[Section]:
    inside = lost[section.begin : section.end]
    if section.kind is Kind.SWEEP or not inside.any() or inside.all():
        return [section]
    edges = np.flatnonzero(np.diff(~inside, prepend=False, append=False)) + section.begin
    found = []
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        start_s = section.start_s if begin == section.begin else (begin + 1) * hop_s
        end_s = section.end_s if end == section.end else (end - 1) * hop_s
        if end_s - start_s >= SHORTEST_S:
            found.append(replace(section, begin=begin, end=end, start_s=start_s, end_s=end_s))
    return found


def damage_of(capture: Capture, section: Section, kind: Kind) -> tuple[Validity, ...]:
    """What the scan knows against each track: values that are no numbers, a gap, nothing there."""
    scan = capture.scan
    inside = slice(section.begin, section.end)
    silent = scan.track_power[inside].max(axis=0) == 0.0
    gap = kind in (Kind.TONE, Kind.MULTITONE) and _has_gap(capture, section, kind)
    reasons = ((scan.not_finite, Validity.NOT_FINITE), (silent, Validity.NO_SIGNAL))
    return tuple(
        next(
            (reason for against, reason in reasons if against[track]),
            Validity.GAP if gap else Validity.OK,
        )
        for track in range(len(capture.tracks))
    )


def _has_gap(capture: Capture, section: Section, kind: Kind) -> bool:
    """Frames without anything on any track, more than a sine has near zero; of many lines 1 ms."""
    scan = capture.scan
    power = float(scan.track_power[section.begin : section.end].max())
    if 10.0 * np.log10(2.0 * power + 1e-20) < _GAP_LEAST_DBFS:
        return False
    longest = _GAP_S * scan.rate_hz
    if kind is Kind.TONE and section.frequency_hz > 0.0:
        least = _STEP_8_BITS if capture.header.has_8_bits else _STEP_16_BITS
        near_zero = np.arcsin(min(least / np.sqrt(2.0 * power), 1.0)) / np.pi
        longest = max(_GAP_FRAMES - 1, near_zero / section.frequency_hz * scan.rate_hz + 1.0)
    inner = scan.silent_frames[section.begin + 2 : section.end - 2]
    return bool(len(inner) and inner.max() > longest)


def with_losses(section: MeasuredSection) -> MeasuredSection:
    """The section as it is; or a gap on every track, if frames are missing in its tone."""
    if section.tone is None or not section.tone.missing_s:
        return section
    told = (Validity.GAP if v is Validity.OK else v for v in section.validity)
    return replace(section, validity=tuple(told))
