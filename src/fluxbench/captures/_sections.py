"""Where the sections of a capture begin and end, and what each of them is, from its hops.

Limits here are our choice; there is no standard for it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._glides import glides
from fluxbench.captures._pitches import pitches
from fluxbench.captures._plateaus import plateaus
from fluxbench.captures._scan import Scan
from fluxbench.trade import HUM_HZ


class Kind(StrEnum):
    """What a section holds."""

    TONE = "tone"
    NOISE = "noise"
    MULTITONE = "multitone"
    SWEEP = "sweep"
    PROGRAMME = "programme"


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of hops, `begin` to `end`, of one kind.

    `start_s` and `end_s` are finer, from the first hop. Steady sections that are no tone are
    `NOISE` here; only their lines tell noise from a multitone.
    """

    kind: Kind
    begin: int
    end: int
    start_s: float
    end_s: float
    frequency_hz: float = np.nan


LINE_SHARE = 0.7
"""Of the power, above which one line is a tone."""

SHORTEST_S = 0.2
_SHORTEST_OTHER_S = 0.4
_BRIDGED_S = 0.7
"""A tone that comes back after less than this was a drop-out."""

_LEVEL_DB = 1.5
_TRACKS_SHARE = 0.4
_FREQUENCY_RATIO = 0.02
_LEAST_HZ = 9.0
_FOLLOW = 0.05

_LOW_HZ = 150.0
_PITCH_STEP = 0.1
_PITCH_S = 0.4
"""A low tone that keeps another frequency for so long is another one."""

_EDGE_HOPS = 15
_BLURRED_HOPS = 2
_EDGE_DB = 4.0
_STEADY_DB = 2.0
_STEADY_BAND_DB = 4.0
_FLOOR = 1e-14

_HUM_DBFS = -45.0
_HUM_BELOW_DB = 25.0


def find_sections(scan: Scan) -> list[Section]:
    """Find the sections of a scan, in order; what is too short to measure is left out."""
    hops = _Hops(scan)
    swept = [Section(Kind.SWEEP, begin, end, 0.0, 0.0) for begin, end in glides(scan)]
    taken = np.zeros(scan.hops, bool)
    for section in swept:
        taken[section.begin : section.end] = True
    tones = [
        plateau
        for tone in _tones(hops, taken)
        if not _is_hum(tone, hops)
        for pitch in _pitches(tone, hops)
        for plateau in _plateaus(pitch, hops)
    ]
    for section in tones:
        taken[section.begin : section.end] = True
    others = [section for begin, end in _runs(~taken) for section in _others(hops, begin, end)]
    found = sorted([*swept, *tones, *others], key=lambda section: section.begin)
    return [_with_times(hops, found, index) for index in range(len(found))]


class _Hops:
    """What the finder asks of every hop."""

    def __init__(self, scan: Scan) -> None:
        self.scan = scan
        self.hop_s = scan.hop_s
        self.power = _smooth(scan.track_power.sum(axis=1))
        self.level_db = 10.0 * np.log10(np.maximum(self.power, _FLOOR))
        self.track_share = _shares(scan.track_power)
        self.frequency_hz = scan.frequency_hz.astype(np.float64)
        self.is_line = (scan.line_share > LINE_SHARE) & (self.power > _FLOOR)
        self.bands_db = 10.0 * np.log10(np.maximum(scan.band_power, _FLOOR))

    def count(self, seconds: float) -> int:
        """So many hops."""
        return max(round(seconds / self.hop_s), 1)


def _smooth(power: NDArray[np.floating]) -> NDArray[np.float64]:
    """Mean over three hops: a low tone has few periods in one."""
    padded = np.concatenate([power[:1], power, power[-1:]]).astype(np.float64)
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3.0)


def _shares(track_power: NDArray[np.float32]) -> NDArray[np.float32]:
    """What each track has of the power of all, (hops, tracks), smooth as well.

    In single precision and in place: an hour of 24 tracks has four million of them.
    """
    shares = track_power.copy()
    shares[1:] += track_power[:-1]
    shares[:-1] += track_power[1:]
    shares[0] += track_power[0]
    shares[-1] += track_power[-1]
    shares /= np.maximum(shares.sum(axis=1, keepdims=True), np.float32(_FLOOR))
    return shares


def _runs(where: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(where.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _tones(hops: _Hops, taken: NDArray[np.bool_]) -> list[Section]:
    """Runs of hops with the same line at the same level on the same tracks."""
    found: list[Section] = []
    line = hops.is_line & ~taken
    at = 0
    while at < len(line):
        if not line[at]:
            at += 1
            continue
        end = _tone_end(hops, line, taken, at)
        if end - at >= hops.count(SHORTEST_S):
            inside = np.flatnonzero(line[at:end]) + at
            frequency_hz = float(np.median(hops.frequency_hz[inside]))
            found.append(Section(Kind.TONE, at, end, 0.0, 0.0, frequency_hz))
            at = end
        else:
            at += 1
    return found


def _tone_end(hops: _Hops, line: NDArray[np.bool_], taken: NDArray[np.bool_], first: int) -> int:
    """The hop after the last that belongs to the tone that begins at `first`."""
    patience = hops.count(_BRIDGED_S)
    some = slice(first, first + 5)
    frequency_hz = float(np.median(hops.frequency_hz[some]))
    level_db = float(np.median(hops.level_db[some]))
    share = np.median(hops.track_share[some], axis=0)
    last = first
    for hop in range(first, len(line)):
        if taken[hop] or hop - last > patience:
            break
        off_hz = abs(float(hops.frequency_hz[hop]) - frequency_hz)
        if not line[hop] or off_hz > max(_FREQUENCY_RATIO * frequency_hz, _LEAST_HZ):
            continue
        off_db = float(hops.level_db[hop]) - level_db
        moved = 0.5 * float(np.abs(hops.track_share[hop] - share).sum())
        if abs(off_db) > _LEVEL_DB or moved > _TRACKS_SHARE:
            continue
        last = hop
        level_db += _FOLLOW * off_db
        frequency_hz += _FOLLOW * (float(hops.frequency_hz[hop]) - frequency_hz)
        share = share + _FOLLOW * (hops.track_share[hop] - share)
    return last + 1


def _pitches(tone: Section, hops: _Hops) -> list[Section]:
    """A low tone apart where its frequency steps and stays: 40 and 31.5 Hz lie close together."""
    if tone.frequency_hz > _LOW_HZ:
        return [tone]
    frequency_hz = hops.frequency_hz[tone.begin : tone.end]
    line = hops.is_line[tone.begin : tone.end]
    beside = hops.count(_PITCH_S)
    pairs = pitches(frequency_hz, line, beside, _PITCH_STEP)
    least = beside if len(pairs) > 1 else 0
    return [
        replace(tone, begin=tone.begin + a, end=tone.begin + b, frequency_hz=pitch_hz)
        for a, b, pitch_hz in pairs
        if b - a >= least
    ]


def _plateaus(tone: Section, hops: _Hops) -> list[Section]:
    """A tone apart where its level steps and stays."""
    pairs = plateaus(hops.level_db[tone.begin : tone.end], hops.hop_s)
    return [replace(tone, begin=tone.begin + a, end=tone.begin + b) for a, b in pairs]


def _is_hum(tone: Section, hops: _Hops) -> bool:
    """A weak line on a mains frequency, far below the rest of the capture, is noise."""
    near = any(abs(tone.frequency_hz - hum_hz) < 5.0 for hum_hz in HUM_HZ)
    level_db = float(np.median(hops.level_db[tone.begin : tone.end]))
    level_dbfs = level_db + 3.01 - 10.0 * np.log10(hops.track_share.shape[1])
    loudest_db = float(hops.level_db.max())
    alone = loudest_db - level_db < 3.0
    return near and level_dbfs < _HUM_DBFS and (alone or loudest_db - level_db > _HUM_BELOW_DB)


def _others(hops: _Hops, begin: int, end: int) -> list[Section]:
    """Steady and unsteady sections between tones, split where the spectrum jumps."""
    inner = begin + _BLURRED_HOPS, end - _BLURRED_HOPS
    edges = [begin, *_jumps(hops, *inner), end]
    found: list[Section] = []
    for a, b in pairwise(edges):
        steady = _is_steady(hops, a, b)
        kind = Kind.NOISE if steady else Kind.PROGRAMME
        before = found[-1] if found else None
        if before and before.end == a and before.kind is kind is Kind.PROGRAMME:
            found[-1] = Section(kind, before.begin, b, 0.0, 0.0)
        else:
            found.append(Section(kind, a, b, 0.0, 0.0))
    return [each for each in found if each.end - each.begin >= hops.count(_SHORTEST_OTHER_S)]


def _jumps(hops: _Hops, begin: int, end: int) -> list[int]:
    """Hops at which the level of the bands changes and stays changed."""
    if end - begin < 2 * _EDGE_HOPS:
        return []
    bands_db = hops.bands_db[begin:end]
    summed = np.concatenate([np.zeros((1, bands_db.shape[1])), np.cumsum(bands_db, axis=0)])
    means = (summed[_EDGE_HOPS:] - summed[:-_EDGE_HOPS]) / _EDGE_HOPS
    step = np.abs(means[_EDGE_HOPS:] - means[:-_EDGE_HOPS]).mean(axis=1)
    found: list[int] = []
    for index in np.argsort(-step):
        if step[index] < _EDGE_DB:
            break
        if all(abs(int(index) - other) > _EDGE_HOPS for other in found):
            found.append(int(index))
    return sorted(begin + _EDGE_HOPS + index for index in found)


def _is_steady(hops: _Hops, begin: int, end: int) -> bool:
    """Neither the level nor the spectrum moves more than noise does."""
    trim = 3 if end - begin > 12 else 0  # windows at the ends hear the neighbours
    level_db = hops.level_db[begin + trim : end - trim]
    bands_db = hops.bands_db[begin + trim : end - trim]
    windows = max(len(bands_db) // 10, 1)
    means = np.stack([piece.mean(axis=0) for piece in np.array_split(bands_db, windows)])
    moved_db = float(means.std(axis=0).mean())
    return float(np.std(level_db)) < _STEADY_DB and moved_db < _STEADY_BAND_DB


def _with_times(hops: _Hops, found: Sequence[Section], index: int) -> Section:
    """A section with its times: half way in power between hops where it can be told."""
    section = found[index]
    before = found[index - 1].end if index else 0
    after = found[index + 1].begin if index + 1 < len(found) else hops.scan.hops
    start_s = _edge_s(hops, section, section.begin, -1, before)
    end_s = _edge_s(hops, section, section.end - 1, +1, after - 1)
    return Section(section.kind, section.begin, section.end, start_s, end_s, section.frequency_hz)


def _edge_s(hops: _Hops, section: Section, hop: int, way: int, limit: int) -> float:
    """Time at which the power of single hops crosses half of what the section has."""
    outer_s = (hop if way < 0 else hop + 1) * hops.hop_s
    at_end = hop == (0 if way < 0 else hops.scan.hops - 1)
    if section.kind is not Kind.TONE or at_end:
        return outer_s
    power = hops.scan.track_power.sum(axis=1)
    inside = float(np.median(power[section.begin : section.end]))
    span = range(hop - 2 * way, hop + 4 * way, way)
    places = [h for h in span if 0 <= h < hops.scan.hops]
    outside = float(power[places[-1]])
    if outside > 0.5 * inside:
        return outer_s
    for place in places:
        if power[place] < 0.9 * inside:
            filled = float(np.clip((power[place] - outside) / (inside - outside), 0.0, 1.0))
            return (place + (1.0 - filled if way < 0 else filled)) * hops.hop_s
    return outer_s
