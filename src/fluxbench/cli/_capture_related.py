"""What sections tell only together, in lines below their tables."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures import CaptureReading, MeasuredSection
from fluxbench.measure import AlongReading, LowEndReading, RelativeReading

_MOST_TRACKS = 8


def section_lines(section: MeasuredSection, tracks: Sequence[int]) -> Iterator[str]:
    """Lines of one section: none, for most."""
    related = section.related
    if related.crosstalk is not None:
        driven = related.crosstalk.driven
        some = f"track{'s' * (len(driven) > 1)} {', '.join(map(str, driven))}"
        others = [track not in driven for track in tracks]
        yield f"crosstalk from {some}: {_relative(related.crosstalk.reading, tracks, others)}"
    if related.modulation is not None:
        yield f"modulation noise re the tone: {_relative(related.modulation, tracks)}"
    for left in related.remains:
        was = f"{left.frequency_hz:.0f} Hz of {left.tone_start_s:.1f} s"
        yield f"left of {was}, re what it was there: {_relative(left.reading, tracks)}"
    if related.echoes is not None:
        turn_s = related.echoes.turn_s
        where = f"{turn_s:.2f} s" if np.isfinite(turn_s) else "a turn"
        for way in ("before", "after"):
            told = _relative(getattr(related.echoes, way), tracks)
            yield f"print-through {where} {way} it: {told}"
    if related.along is not None:
        yield f"along it: {_along(related.along, tracks)}"
    yield from _low_ends(related.low_end, tracks)


def reel_lines(reading: CaptureReading) -> Iterator[str]:
    """Lines of the whole capture."""
    for along in reading.along:
        places = ", ".join(f"{start_s:.1f}" for start_s in along.starts_s)
        told = _along(along.reading, reading.tracks)
        yield f"along the reel, {along.frequency_hz:.1f} Hz at {places} s: {told}"
    for sweep in reading.level_sweeps:
        name = f"{len(sweep.starts_s)} levels of {sweep.frequency_hz:.1f} Hz"
        if np.isfinite(sweep.step_db):
            name += f", believed {sweep.step_db:g} dB apart"
        output = np.array([one.output_db for one in sweep.maximum])
        yield f"{name}: 3 % third harmonic at dBFS {_numbers(output, reading.tracks, 2)}"
        if sweep.highest is not None:
            output = np.array([one.output_db for one in sweep.highest])
            yield f"{name}: highest output dBFS {_numbers(output, reading.tracks, 2)}"
        if np.isfinite(sweep.compression_db[-1]).any():
            last = sweep.compression_db[-1]
            yield f"{name}: compression of the last, dB {_numbers(last, reading.tracks, 2)}"
    if reading.stepped is not None:
        yield f"{len(reading.stepped.response.frequencies_hz)} tones as one response:"
        yield from _low_ends(reading.stepped.low_end, reading.tracks)


def _relative(
    reading: RelativeReading, tracks: Sequence[int], which: Sequence[bool] | None = None
) -> str:
    """Track by track, or of many tracks the highest: what should not be there is told by that."""
    shown = [True] * len(tracks) if which is None else which
    rows = [
        (track, reading.level_db[k], reading.limit_db[k], reading.validity[k])
        for k, track in enumerate(tracks)
        if shown[k]
    ]
    if len(rows) <= _MOST_TRACKS:
        return ", ".join(f"{track}: {_one(*facts)}" for track, *facts in rows)
    heard = [(level, track) for track, level, _, _ in rows if np.isfinite(level)]
    if heard:
        level, track = max(heard)
        return f"at most {level:.1f} dB (track {track}); heard on {len(heard)} of {len(rows)}"
    limits = [limit for _, _, limit, _ in rows if np.isfinite(limit)]
    return f"not heard on any, below {max(limits):.0f} dB" if limits else "not read"


def _one(level_db: float, limit_db: float, validity: Validity) -> str:
    if np.isfinite(level_db):
        return f"{level_db:.1f} dB"
    if validity is Validity.NO_SIGNAL and np.isfinite(limit_db):
        return f"under {limit_db:.0f} dB"
    return "-"


def _along(reading: AlongReading, tracks: Sequence[int]) -> str:
    slope = _numbers(reading.slope_db_per_min, tracks, 2, sign="+")
    return f"dB a minute {slope}; range dB {_numbers(reading.range_db, tracks, 2)}"


def _low_ends(readings: Sequence[LowEndReading], tracks: Sequence[int]) -> Iterator[str]:
    for name in ("bump", "dip"):
        at_hz = np.array([getattr(one, f"{name}_hz") for one in readings])
        level_db = np.array([getattr(one, f"{name}_db") for one in readings])
        if np.isfinite(at_hz).any():
            mean_hz = float(np.nanmean(at_hz))
            yield f"{name} at {mean_hz:.0f} Hz, dB {_numbers(level_db, tracks, 2, sign='+')}"
    mean_db = np.array([one.mean_db for one in readings])
    if np.isfinite(mean_db).any():
        yield f"30 to 300 Hz in the mean, dB {_numbers(mean_db, tracks, 2, sign='+')}"


def _numbers(
    values: NDArray[np.float64], tracks: Sequence[int], decimals: int, sign: str = ""
) -> str:
    """Track by track, or of many tracks the ends."""
    if len(tracks) <= _MOST_TRACKS:
        return ", ".join(
            f"{track}: " + (f"{value:{sign}.{decimals}f}" if np.isfinite(value) else "-")
            for track, value in zip(tracks, values, strict=True)
        )
    if not np.isfinite(values).any():
        return "-"
    low, high = int(np.nanargmin(values)), int(np.nanargmax(values))
    return " to ".join(f"{values[k]:{sign}.{decimals}f} (track {tracks[k]})" for k in (low, high))
