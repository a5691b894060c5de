"""What was measured of a section, in short, and some of its samples once more."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._stretch import Capture, Stretch
from fluxbench.measure import RelativeReading

F64 = NDArray[np.float64]
T = TypeVar("T")

_AGAIN_S = 1.0
_SHORTEST_S = 0.5
_AT_ONCE = 1 << 21
"""Frames times tracks that are held at once of so long a stretch: 8 MB."""


def level_dbfs(section: MeasuredSection) -> F64:
    """Level of a tone by track, NaN where something is against it or the track carries none."""
    if section.tone is None:
        return np.full(len(section.validity), np.nan)
    kept = np.array([v is Validity.OK for v in section.track_validity()], bool)
    return np.where(kept & _carried(section), section.tone.tone.level_dbfs, np.nan)


def frequency_hz(section: MeasuredSection) -> float:
    """Mean frequency of a tone section; NaN if no track tells it."""
    if section.tone is None:
        return np.nan
    found_hz = section.tone.tone.frequency_hz
    known = found_hz[np.isfinite(found_hz) & _carried(section)]
    return float(known.mean()) if len(known) else np.nan


def own_tracks(section: MeasuredSection) -> MeasuredSection:
    """A section without the delays and phases of tracks that only hold what others leave."""
    take = section.tone
    if take is None or not section.related.carried:
        return section
    carried = _carried(section)
    delays = take.delays
    kept = np.where(carried & np.isfinite(delays.delay_us), 1.0, np.nan)
    few = np.count_nonzero(np.isfinite(kept)) < 2
    own = replace(
        delays,
        delay_us=delays.delay_us * kept,
        delay_standard_error_us=delays.delay_standard_error_us * kept,
        validity=Validity.NO_SIGNAL if few and delays.validity is Validity.OK else delays.validity,
    )
    tone = replace(take.tone, phase_deg=np.where(carried, take.tone.phase_deg, np.nan))
    return replace(section, tone=replace(take, tone=tone, delays=own))


def _carried(section: MeasuredSection) -> NDArray[np.bool_]:
    return np.array(section.related.carried or (True,) * len(section.validity), bool)


def middle_of(capture: Capture, section: MeasuredSection) -> Stretch | None:
    """The middle of a section, to be read once more; None if it is too short."""
    rate_hz = capture.header.rate_hz
    margin_s = section.measured_from_s - section.start_s
    length_s = min(section.end_s - section.start_s - 2.0 * margin_s, _AGAIN_S)
    if length_s < _SHORTEST_S:
        return None
    first = round((0.5 * (section.start_s + section.end_s - length_s)) * rate_hz)
    return Stretch(capture, first, first + round(length_s * rate_hz), lambda frames: None)


def groups_of(stretch: Stretch) -> Iterator[NDArray[np.float32]]:
    """A few tracks at a time, (frames, tracks); as many of a short stretch as of a long one."""
    return stretch.groups(_tracks_at_once(stretch) * (stretch.last - stretch.first))


def by_groups(work: Callable[..., T], stretches: Sequence[Stretch], threads: int) -> list[T]:
    """What `work` makes of a few tracks at a time, many groups side by side.

    It is given which tracks they are, and their samples (frames, tracks) of each stretch.
    """
    tracks = stretches[0].capture.tracks
    many = min(_tracks_at_once(stretches[0]), -(-len(tracks) // threads))

    def one(at: int) -> T:
        here = slice(at, at + many)
        parts = [
            replace(stretch, capture=replace(stretch.capture, tracks=tracks[here]))
            for stretch in stretches
        ]
        with np.errstate(all="ignore"):
            return work(here, *(next(part.groups(1 << 62)) for part in parts))

    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(one, range(0, len(tracks), many)))


def _tracks_at_once(stretch: Stretch) -> int:
    return max(_AT_ONCE // round(_AGAIN_S * stretch.rate_hz), 1)


def side_by_side(readings: Sequence[RelativeReading]) -> RelativeReading:
    """One reading of the groups of tracks that were measured apart."""
    return RelativeReading(
        np.concatenate([reading.level_db for reading in readings]),
        np.concatenate([reading.standard_error_db for reading in readings]),
        np.concatenate([reading.limit_db for reading in readings]),
        tuple(v for reading in readings for v in reading.validity),
    )
