"""A section measured: its samples go through `fluxbench.measure`, nothing is measured here."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures._header import Header
from fluxbench.captures._lines import Lines, lines_of
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._scan import Scan, weighted_sums, weights_of
from fluxbench.captures._sections import Kind, Section
from fluxbench.captures._source import Source
from fluxbench.measure import (
    NoiseStream,
    ResponseReading,
    ToneStream,
    multitone_levels,
    sweep_levels,
)
from fluxbench.trade import NOMINAL_HZ

_MARGIN_S = 0.06
_MARGIN_SHARE = 0.1
"""Left out at either end of a section: the edge is only known to about 20 ms."""

_LOOKED_AT_S = 2.0
_AT_ONCE = 1 << 23
"""Frames times tracks of a multitone or sweep that are held at once: 32 MB."""

_LONGEST_MULTITONE_S = 12.0
_SPEED_TONES_HZ = (3000.0, 3150.0)
_NEAR_RATIO = 0.03
_LEAST_GAP_HZ = 5.0
_SWEEP_EDGE_OCTAVES = 0.2

_MAINS_HZ = (50.0, 60.0)
_MAINS_RATIO = 0.015
_MAINS_DBFS = -45.0

_GAP_S = 1e-3
_GAP_PERIODS = 0.125
_GAP_LEAST_DBFS = -40.0


@dataclass(frozen=True, slots=True)
class Capture:
    """What measuring a section needs to know of the file that it lies in."""

    path: str
    header: Header
    tracks: tuple[int, ...]
    first_frame: int
    """Of what is read; the scan's first hop begins here."""
    scan: Scan


def measured(
    capture: Capture, section: Section, told: Callable[[int], None] = lambda frames: None
) -> MeasuredSection:
    """Measure one section; `told` hears of the frames that are done."""
    rate_hz = capture.header.rate_hz
    length_s = section.end_s - section.start_s
    margin_s = min(_MARGIN_S, _MARGIN_SHARE * length_s)
    first = capture.first_frame + round((section.start_s + margin_s) * rate_hz)
    last = capture.first_frame + round((section.end_s - margin_s) * rate_hz)
    kind, lines = _kind(capture, section, first, last)
    stretch = _Stretch(capture, first, max(last, first), told)
    file_s = capture.first_frame / rate_hz
    result = MeasuredSection(
        kind,
        file_s + section.start_s,
        file_s + section.end_s,
        first / rate_hz,
        _against(capture, section, kind),
    )
    match kind:
        case Kind.TONE:
            return _with_tone(result, stretch, _tone_hz(section, lines))
        case Kind.NOISE:
            return _with_noise(result, stretch)
        case Kind.MULTITONE:
            return _with_multitone(result, stretch, lines)
        case Kind.SWEEP:
            return _with_sweep(result, stretch, section)
    told(last - first)
    return result


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The frames of a section that are measured."""

    capture: Capture
    first: int
    last: int
    told: Callable[[int], None]

    @property
    def rate_hz(self) -> int:
        return self.capture.header.rate_hz

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """All of it, block by block."""
        with Source(self.capture.path, self.capture.header, self.capture.tracks) as source:
            for block in source.blocks(self.first, self.last):
                yield block
                self.told(len(block))

    def groups(self) -> Iterator[NDArray[np.float32]]:
        """All frames of a few tracks at a time, so many as can be held."""
        tracks, frames = self.capture.tracks, self.last - self.first
        many = max(_AT_ONCE // max(frames, 1), 1)
        for at in range(0, len(tracks), many):
            some = tracks[at : at + many]
            with Source(self.capture.path, self.capture.header, some) as source:
                blocks = list(source.blocks(self.first, self.last))
            whole = np.concatenate(blocks) if blocks else np.zeros((0, len(some)), np.float32)
            yield np.where(np.abs(whole) < 1e4, whole, np.float32(np.nan))
            self.told(frames * len(some) // len(tracks))


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
    if lines.several and not _all_mains(capture, section, lines):
        return Kind.MULTITONE, lines
    return section.kind, lines


def _all_mains(capture: Capture, section: Section, lines: Lines) -> bool:
    """Weak lines that all lie on multiples of one mains frequency."""
    power = capture.scan.track_power[section.begin : section.end].mean()
    if 10.0 * np.log10(2.0 * power + 1e-20) > _MAINS_DBFS:
        return False
    found = np.array(lines.frequencies_hz)
    return any(
        bool(np.all(np.abs(found / mains - np.rint(found / mains)) < _MAINS_RATIO * found / mains))
        for mains in _MAINS_HZ
    )


def _tone_hz(section: Section, lines: Lines) -> float:
    near = [
        (power, frequency_hz)
        for frequency_hz, power in zip(lines.frequencies_hz, lines.power, strict=True)
        if abs(frequency_hz - section.frequency_hz)
        < max(_NEAR_RATIO * section.frequency_hz, 2.0 * _LEAST_GAP_HZ)
    ]
    return max(near)[1] if near else section.frequency_hz


def _with_tone(result: MeasuredSection, stretch: _Stretch, frequency_hz: float) -> MeasuredSection:
    capture = stretch.capture
    speed_tone = any(abs(frequency_hz / f - 1.0) < _NEAR_RATIO for f in _SPEED_TONES_HZ)
    stream = ToneStream(
        stretch.rate_hz,
        len(capture.tracks),
        frequency_hz,
        [float(track) for track in capture.tracks],
        with_flutter=speed_tone,
    )
    for block in stretch.blocks():
        stream.add(block)
    return replace(result, tone=stream.reading())


def _with_noise(result: MeasuredSection, stretch: _Stretch) -> MeasuredSection:
    stream = NoiseStream(stretch.rate_hz, len(stretch.capture.tracks))
    for block in stretch.blocks():
        stream.add(block)
    return replace(result, noise=stream.reading())


def _with_multitone(result: MeasuredSection, stretch: _Stretch, lines: Lines) -> MeasuredSection:
    """Its middle, if it is long."""
    rate_hz = stretch.rate_hz
    longest = round(_LONGEST_MULTITONE_S * rate_hz)
    if stretch.last - stretch.first > longest:
        begin = (stretch.first + stretch.last - longest) // 2
        stretch = _Stretch(stretch.capture, begin, begin + longest, stretch.told)
    apart: list[float] = []
    for frequency_hz in lines.frequencies_hz:
        if frequency_hz < 0.49 * rate_hz and frequency_hz - (apart[-1:] or [0.0])[0] >= (
            _LEAST_GAP_HZ
        ):
            apart.append(frequency_hz)
    readings = [multitone_levels(some, rate_hz, apart) for some in stretch.groups()]
    return replace(result, response=_side_by_side(readings))


def _with_sweep(result: MeasuredSection, stretch: _Stretch, section: Section) -> MeasuredSection:
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


def _against(capture: Capture, section: Section, kind: Kind) -> tuple[Validity, ...]:
    """What the scan knows against each track: values that are no numbers, a gap, nothing there."""
    scan = capture.scan
    inside = slice(section.begin, section.end)
    silent = scan.track_power[inside].max(axis=0) == 0.0
    gap = kind in (Kind.TONE, Kind.MULTITONE) and _has_gap(capture, section)
    reasons = ((scan.not_finite, Validity.NOT_FINITE), (silent, Validity.NO_SIGNAL))
    return tuple(
        next(
            (reason for against, reason in reasons if against[track]),
            Validity.GAP if gap else Validity.OK,
        )
        for track in range(len(capture.tracks))
    )


def _has_gap(capture: Capture, section: Section) -> bool:
    """Frames without anything on any track, longer than a sine can be near zero."""
    scan = capture.scan
    power = float(scan.track_power[section.begin : section.end].max())
    if 10.0 * np.log10(2.0 * power + 1e-20) < _GAP_LEAST_DBFS:
        return False
    longest_s = _GAP_S
    if section.frequency_hz > 0.0:
        longest_s = max(longest_s, _GAP_PERIODS / section.frequency_hz)
    inner = scan.silent_frames[section.begin + 2 : section.end - 2]
    return bool(len(inner) and inner.max() > longest_s * scan.rate_hz)
