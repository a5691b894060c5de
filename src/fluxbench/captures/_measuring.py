"""A section measured: its samples go through `fluxbench.measure`, nothing is measured here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, cast

import numpy as np

from fluxbench.base import Validity
from fluxbench.captures._damage import damage_of, with_losses
from fluxbench.captures._lines import Lines, lines_of
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._scan import weighted_sums, weights_of
from fluxbench.captures._sections import LINE_SHARE, Kind, Section
from fluxbench.captures._source import Source
from fluxbench.captures._stretch import Capture, Stretch
from fluxbench.measure import (
    NoiseStream,
    ResponseReading,
    TonePart,
    ToneStream,
    multitone_levels,
    sweep_levels,
    tone_of,
)
from fluxbench.trade import MAINS_HZ, NOMINAL_HZ

_MARGIN_S = 0.06
_MARGIN_SHARE = 0.1
"""Left out at either end of a section: the edge is only known to about 20 ms."""

_LOOKED_AT_S = 2.0
_PART_S = 24.0
"""Long sections are measured in parts of about so long, side by side; noise in twice that."""

_FLUTTER_COST = 1.6
_NOISE_COST = 2.0
"""Measured: how much longer than a plain tone of the same length they take."""

_LEAST_MULTITONE_S = 1.0
_LONGEST_MULTITONE_S = 12.0
_NOTE_S = 5.0
"""A tone that is shorter and does not stand still on any track is a note."""
_SPEED_TONES_HZ = (3000.0, 3150.0)
_NEAR_RATIO = 0.03
_LEAST_GAP_HZ = 5.0
_SWEEP_EDGE_OCTAVES = 0.2

_MAINS_RATIO = 0.002
_MAINS_OFF_HZ = 0.1
"""A line is the mains' if it is off a multiple by no more: mains hold 0.2 % nearly always (common
practice, no source), and 2 s tell a tenth of a Hz. A tone on the tape is off by the speed."""
_MAINS_DBFS = -45.0


@dataclass(frozen=True, slots=True)
class Plan:
    """How a section is measured: in parts that do not need each other, which are put together."""

    parts: tuple[Callable[[], Any], ...]
    cost: float
    """Of one part, in s of a plain tone."""
    finish: Callable[[Sequence[Any]], MeasuredSection]
    """Takes what the parts gave, in their order."""


def planned(
    capture: Capture, section: Section, told: Callable[[int], None] = lambda frames: None
) -> Plan:
    """See what a section is and plan its measurement; `told` hears of the frames that are done."""
    rate_hz = capture.header.rate_hz
    length_s = section.end_s - section.start_s
    margin_s = min(_MARGIN_S, _MARGIN_SHARE * length_s)
    first = capture.first_frame + round((section.start_s + margin_s) * rate_hz)
    last = capture.first_frame + round((section.end_s - margin_s) * rate_hz)
    kind, lines = _kind(capture, section, first, last)
    stretch = Stretch(capture, first, max(last, first), told)
    file_s = capture.first_frame / rate_hz
    result = MeasuredSection(
        kind,
        file_s + section.start_s,
        file_s + section.end_s,
        first / rate_hz,
        damage_of(capture, section, kind),
    )
    match kind:
        case Kind.TONE:
            return _tone_plan(result, stretch, *_tone_hz(section, lines))
        case Kind.NOISE:
            return _noise_plan(result, stretch)
        case Kind.MULTITONE:
            return _alone(stretch, partial(_with_multitone, result, stretch, lines))
        case Kind.SWEEP:
            return _alone(stretch, partial(_with_sweep, result, stretch, section))
    told(last - first)
    return Plan((), 0.0, lambda parts: result)


def _kind(capture: Capture, section: Section, first: int, last: int) -> tuple[Kind, Lines]:
    """What the section is once its lines are seen."""
    if section.kind not in (Kind.TONE, Kind.NOISE):
        return section.kind, Lines((), (), 0.0)
    rate_hz = capture.header.rate_hz
    some = min(last - first, round(_LOOKED_AT_S * rate_hz))
    begin = first + (last - first - some) // 2
    weights = weights_of(len(capture.tracks))
    with Source(capture.path, capture.header, capture.tracks) as source:
        sums = [weighted_sums(block, weights) for block in source.blocks(begin, begin + some)]
    lines = lines_of(np.nan_to_num(np.concatenate(sums)), rate_hz)
    if lines.power and not _all_mains(capture, section, lines):
        if lines.sent_together and section.end_s - section.start_s >= _LEAST_MULTITONE_S:
            return Kind.MULTITONE, lines
        if lines.several and not lines.is_tone:
            return Kind.PROGRAMME, lines
        if lines.share > LINE_SHARE:
            return Kind.TONE, lines
    return section.kind, lines


def _all_mains(capture: Capture, section: Section, lines: Lines) -> bool:
    """Lines that all lie on multiples of one mains frequency: weak ones, or several in noise."""
    by_hop = capture.scan.track_power[section.begin : section.end].mean(axis=1)
    power = float(np.median(by_hop))  # hops at the ends hear the tones beside
    weak = 10.0 * np.log10(2.0 * power + 1e-20) <= _MAINS_DBFS
    if not weak and not (section.kind is Kind.NOISE and lines.several):
        return False
    found = np.array(lines.frequencies_hz)
    return any(
        bool(
            np.all(
                np.abs(found - mains * np.rint(found / mains))
                < _MAINS_OFF_HZ + _MAINS_RATIO * found
            )
        )
        for mains in MAINS_HZ
    )


def _tone_hz(section: Section, lines: Lines) -> tuple[float, bool]:
    """Frequency of a tone, and whether it is a note.

    Much flutter spreads a tone until it is no line; lines elsewhere then say nothing of it.
    """
    near = [
        (power, frequency_hz)
        for frequency_hz, power in zip(lines.frequencies_hz, lines.power, strict=True)
        if abs(frequency_hz - section.frequency_hz)
        < max(_NEAR_RATIO * section.frequency_hz, 2.0 * _LEAST_GAP_HZ)
    ]
    if np.isnan(section.frequency_hz):
        return lines.strongest_hz, lines.is_note
    if not near:
        return section.frequency_hz, False
    frequency_hz = max(near)[1]
    return frequency_hz, lines.is_note and frequency_hz == lines.strongest_hz


def _alone(stretch: Stretch, work: Callable[[], MeasuredSection]) -> Plan:
    return Plan((work,), stretch.seconds, lambda parts: cast(MeasuredSection, parts[0]))


def _tone_plan(
    result: MeasuredSection, stretch: Stretch, frequency_hz: float, is_note: bool
) -> Plan:
    """Parts of whole pieces; each but the last has one more block, for what begins before it."""
    tracks = stretch.capture.tracks
    told_hz = (*_SPEED_TONES_HZ, *stretch.capture.flutter_hz)
    flutters = any(abs(frequency_hz / f - 1.0) < _NEAR_RATIO for f in told_hz)

    def stream(first_s: float) -> ToneStream:
        return ToneStream(
            stretch.rate_hz,
            len(tracks),
            frequency_hz,
            [float(track) for track in tracks],
            with_flutter=flutters,
            first_s=first_s,
        )

    def work(part: Stretch, goes_on: bool) -> TonePart:
        one = stream((part.first - stretch.first) / stretch.rate_hz)
        for block in part.blocks():
            one.add(block)
        return one.part(goes_on=goes_on)

    like = stream(0.0)
    part_s = like.piece_s * max(round(_PART_S / like.piece_s), 1)
    parts = stretch.parts(part_s, like.hop_frames, like.block_frames)
    cost = (_FLUTTER_COST if flutters else 1.0) * parts[0].seconds
    return Plan(
        tuple(partial(work, part, part is not parts[-1]) for part in parts),
        cost,
        lambda measured: with_losses(
            _tone_or_music(replace(result, tone=tone_of(measured)), is_note)
        ),
    )


def _tone_or_music(section: MeasuredSection, is_note: bool) -> MeasuredSection:
    """The section as it is, or as programme if what was measured is a note of music."""
    told = set(section.track_validity()) - {Validity.NO_SIGNAL}
    brief = section.end_s - section.start_s < _NOTE_S
    if (is_note and Validity.CLIPPED not in told) or (brief and told == {Validity.UNSTABLE}):
        return replace(section, kind=Kind.PROGRAMME, tone=None)
    return section


def _noise_plan(result: MeasuredSection, stretch: Stretch) -> Plan:
    tracks = len(stretch.capture.tracks)

    def work(part: Stretch) -> NoiseStream:
        one = NoiseStream(stretch.rate_hz, tracks)
        for block in part.blocks():
            one.add(block)
        one.end()
        return one

    def finish(measured: Sequence[NoiseStream]) -> MeasuredSection:
        first, *later = measured
        for each in later:
            first.also(each)
        return replace(result, noise=first.reading())

    like = NoiseStream(stretch.rate_hz, tracks)
    parts = stretch.parts(2.0 * _PART_S, like.hop_frames, like.overlap_frames)
    works = tuple(partial(work, part) for part in parts)
    return Plan(works, _NOISE_COST * parts[0].seconds, finish)


def _with_multitone(result: MeasuredSection, stretch: Stretch, lines: Lines) -> MeasuredSection:
    """Its middle, if it is long."""
    rate_hz = stretch.rate_hz
    longest = round(_LONGEST_MULTITONE_S * rate_hz)
    if stretch.last - stretch.first > longest:
        begin = (stretch.first + stretch.last - longest) // 2
        stretch = Stretch(stretch.capture, begin, begin + longest, stretch.told)
    apart: list[float] = []
    for frequency_hz in lines.sent_hz:
        if frequency_hz < 0.49 * rate_hz and frequency_hz - (apart[-1:] or [0.0])[0] >= (
            _LEAST_GAP_HZ
        ):
            apart.append(frequency_hz)
    readings = [multitone_levels(some, rate_hz, apart) for some in stretch.groups()]
    return replace(result, response=_side_by_side(readings))


def _with_sweep(result: MeasuredSection, stretch: Stretch, section: Section) -> MeasuredSection:
    swept = stretch.capture.scan.frequency_hz[section.begin : section.end]
    edge = 2.0**_SWEEP_EDGE_OCTAVES
    ends = sorted((float(np.median(swept[:3])), float(np.median(swept[-3:]))))
    points = [float(f) for f in NOMINAL_HZ if ends[0] * edge <= f <= ends[1] / edge]
    if not points:
        return result
    readings = [sweep_levels(some, stretch.rate_hz, points) for some in stretch.groups()]
    return replace(result, response=_side_by_side(readings))


def _side_by_side(readings: Sequence[ResponseReading]) -> ResponseReading:
    """One reading of the groups of tracks that were measured apart."""
    first = readings[0]
    return ResponseReading(
        first.frequencies_hz,
        float(np.mean([reading.speed_ratio for reading in readings])),
        np.concatenate([reading.level_dbfs for reading in readings], axis=1),
        np.concatenate([reading.standard_error_db for reading in readings], axis=1),
        tuple(
            tuple(v for reading in readings for v in reading.validity[row])
            for row in range(len(first.frequencies_hz))
        ),
    )
