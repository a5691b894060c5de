"""What sections tell only together: crosstalk, remains, modulation noise, echoes, the reel.

Little is read again: a second or two where two sections are to be held against each other, a few
seconds around a burst. Limits here are our choice; there is no standard for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._again import (
    by_groups,
    frequency_hz,
    groups_of,
    level_dbfs,
    middle_of,
    side_by_side,
)
from fluxbench.captures._echoes import echoes_around
from fluxbench.captures._results import Crosstalk, MeasuredSection, Related, Remains
from fluxbench.captures._sections import Kind
from fluxbench.captures._stretch import Capture
from fluxbench.measure import (
    RelativeReading,
    crosstalk_between,
    level_along,
    low_end,
    modulation_noise,
    remains,
)

F64 = NDArray[np.float64]

_MODULATION_HZ = (690.0, 1260.0)
_REFERENCE_HZ = 1000.0
_LOW_HZ = 300.0

_DRIVEN_DB = 6.0
_BESIDE_DB, _BESIDE_LOW_DB = 25.0, 12.0
"""A worn head may lose 20 dB of short waves; of long ones neighbours hold -14 dB (model)."""
_LONG_S = 20.0
_MOST_REMAINS, _MOST_NOISES = 4, 2
_LIKE_RATIO = 0.01
_ERASED_DB = 40.0
_PRINT_S = 0.1


def related(
    capture: Capture, sections: Sequence[MeasuredSection], threads: int
) -> list[MeasuredSection]:
    """The sections, each with what it tells beside the others."""
    told = [replace(s, related=_own(capture, s, sections)) for s in _carrying(capture, sections)]
    return _with_modulation(capture, _with_remains(capture, told, threads), threads)


def _own(
    capture: Capture, section: MeasuredSection, sections: Sequence[MeasuredSection]
) -> Related:
    take, response = section.tone, section.response
    if response is not None:
        at_hz = response.frequencies_hz
        reaches = at_hz.min() < _LOW_HZ and at_hz.max() >= _REFERENCE_HZ
        return Related(low_end=low_end(response, _REFERENCE_HZ) if reaches else ())
    if take is None:
        return Related()
    beside = _crosstalk(capture, section)
    carried = section.related.carried
    along = None
    if section.end_s - section.start_s >= _LONG_S and len(take.along_s):
        kept = np.where(np.isfinite(level_dbfs(section)), 1.0, np.nan)
        along = level_along(take.along_s, take.level_along_dbfs * kept)
    echoes = echoes_around(capture, section, sections)
    return Related(carried=carried, crosstalk=beside, along=along, echoes=echoes)


def _carrying(capture: Capture, sections: Sequence[MeasuredSection]) -> list[MeasuredSection]:
    """Tone sections with the tracks that carry the tone, where that is not all of them.

    A track that lies far below the others counts as carrying nothing only if it does carry a tone
    somewhere else: else it may be weak, or dead.
    """
    masks = [_driven(capture, section) for section in sections]
    alive = np.zeros(len(capture.tracks), bool)
    for mask in masks:
        if mask is not None:
            alive |= mask
    return [
        section
        if mask is None or mask.all() or not np.all(alive | mask)
        else replace(section, related=Related(carried=tuple(map(bool, mask))))
        for section, mask in zip(sections, masks, strict=True)
    ]


def _driven(capture: Capture, section: MeasuredSection) -> NDArray[np.bool_] | None:
    """Which tracks have the tone, if all others lie far below; None if that is not plain."""
    if section.tone is None:
        return None
    scan = capture.scan
    begin, end = (
        round((at_s - capture.first_frame / scan.rate_hz) / scan.hop_s)
        for at_s in (section.start_s, section.end_s)
    )
    power = np.median(scan.track_power[begin + 2 : max(end - 2, begin + 3)], axis=0)
    if not power.max() > 0.0:
        return None
    below_db = 10.0 * np.log10(np.maximum(power, 1e-20) / float(power.max()))
    driven = below_db > -_DRIVEN_DB
    long_wave = frequency_hz(section) < _LOW_HZ
    apart = driven | (below_db < (-_BESIDE_LOW_DB if long_wave else -_BESIDE_DB))
    return np.asarray(driven) if apart.all() else None


def _crosstalk(capture: Capture, section: MeasuredSection) -> Crosstalk | None:
    numbers = [k + 1 for k, carries in enumerate(section.related.carried) if carries]
    at_hz = frequency_hz(section)
    middle = middle_of(capture, section)
    if not numbers or not at_hz > 0.0 or middle is None:
        return None
    samples = np.concatenate(list(groups_of(middle)), axis=1)
    reading = crosstalk_between(samples, capture.header.rate_hz, at_hz, numbers)
    return Crosstalk(tuple(capture.tracks[n - 1] for n in numbers), reading)


@dataclass(frozen=True, slots=True)
class _Tone:
    frequency_hz: float
    start_s: float
    level_dbfs: F64
    turn_s: float
    """Where its print lies after it, NaN if none was found."""


def _with_remains(
    capture: Capture, sections: Sequence[MeasuredSection], threads: int
) -> list[MeasuredSection]:
    """What the longest noises, and tones far weaker than once before, hold of earlier tones."""
    noises = [s for s in sections if s.kind is Kind.NOISE and s.noise is not None]
    longest = sorted(noises, key=lambda s: s.start_s - s.end_s)[:_MOST_NOISES]
    told, before = [], list[_Tone]()
    for section in sections:
        if section.tone is not None:
            section = _weaker(section, before)
            echoes = section.related.echoes
            turn_s = np.nan if echoes is None else echoes.turn_s
            tone = _Tone(frequency_hz(section), section.start_s, level_dbfs(section), turn_s)
            if tone.frequency_hz > 0.0 and not section.related.remains:
                before = _remembered(before, tone)
        elif before and any(section is noise for noise in longest):
            section = _in_noise(capture, section, before, threads)
        told.append(section)
    return told


def _remembered(before: Sequence[_Tone], tone: _Tone) -> list[_Tone]:
    """The last tones, each once, with what each track had of it last."""
    same = next((b for b in before if _alike(b.frequency_hz, tone.frequency_hz)), None)
    others = [b for b in before if b is not same]
    if same is not None:
        level = np.where(np.isfinite(tone.level_dbfs), tone.level_dbfs, same.level_dbfs)
        tone = replace(tone, level_dbfs=level)
    return [*others, tone][-_MOST_REMAINS:]


def _alike(one_hz: float, other_hz: float) -> bool:
    return abs(one_hz / other_hz - 1.0) < _LIKE_RATIO


def _weaker(section: MeasuredSection, before: Sequence[_Tone]) -> MeasuredSection:
    """A tone far below the same one before is what erasing left of it."""
    take = section.tone
    was = next((b for b in before if _alike(b.frequency_hz, frequency_hz(section))), None)
    if was is None or take is None:
        return section
    if abs(section.start_s - was.start_s - was.turn_s) < _PRINT_S:
        return section
    under_db = level_dbfs(section) - was.level_dbfs
    known = np.isfinite(under_db)
    if not known.any() or np.max(under_db[known]) > -_ERASED_DB:
        return section
    told = tuple(
        v if v is not Validity.OK or known[track] else Validity.NO_SIGNAL
        for track, v in enumerate(section.track_validity())
    )
    nothing = np.full(len(told), np.nan)
    error_db = np.where(known, take.tone.level_standard_error_db, np.nan)
    reading = RelativeReading(under_db, error_db, nothing, told)
    left = Remains(was.frequency_hz, was.start_s, reading)
    return replace(section, related=replace(section.related, remains=(left,)))


def _in_noise(
    capture: Capture, section: MeasuredSection, before: Sequence[_Tone], threads: int
) -> MeasuredSection:
    middle = middle_of(capture, section)
    if middle is None:
        return section
    was = np.array([tone.level_dbfs for tone in before])
    at_hz = [tone.frequency_hz for tone in before]
    rate_hz = capture.header.rate_hz

    def work(here: slice, some: NDArray[np.float32]) -> tuple[RelativeReading, ...]:
        return remains(some, rate_hz, at_hz, was[:, here])

    found = by_groups(work, [middle], threads)
    left = tuple(
        Remains(tone.frequency_hz, tone.start_s, side_by_side(reading))
        for tone, reading in zip(before, zip(*found, strict=True), strict=True)
    )
    return replace(section, related=replace(section.related, remains=left))


def _with_modulation(
    capture: Capture, sections: Sequence[MeasuredSection], threads: int
) -> list[MeasuredSection]:
    """The longest tone near 1 kHz, against the noise that lies nearest to it."""
    low_hz, high_hz = _MODULATION_HZ
    tones = [
        s
        for s in sections
        if low_hz <= frequency_hz(s) <= high_hz and not s.related.carried and not s.related.remains
    ]
    noises = [s for s in sections if s.noise is not None]
    if not tones or not noises:
        return list(sections)
    tone = max(tones, key=_length)
    noise = min(noises, key=lambda s: max(s.start_s - tone.end_s, tone.start_s - s.end_s))
    loud, quiet = middle_of(capture, tone), middle_of(capture, noise)
    if loud is None or quiet is None:
        return list(sections)
    rate_hz, at_hz = capture.header.rate_hz, frequency_hz(tone)

    def work(_: slice, some: NDArray[np.float32], under: NDArray[np.float32]) -> RelativeReading:
        return modulation_noise(some, rate_hz, at_hz, under)

    reading = side_by_side(by_groups(work, [loud, quiet], threads))
    return [
        replace(s, related=replace(s.related, modulation=reading)) if s is tone else s
        for s in sections
    ]


def _length(section: MeasuredSection) -> float:
    return section.end_s - section.start_s
