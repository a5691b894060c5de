"""Drawings in characters: a level along a section, a response, delays across the tape."""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.captures import CaptureAzimuth, Kind, MeasuredSection

_STEPS = "▁▂▃▄▅▆▇█"
_LEAST_SPAN_DB = 0.5
_COLUMNS = 60
_BAR = 40


def drawn(section: MeasuredSection, tracks: Sequence[int]) -> Iterable[str]:
    """Lines to print below a section's table; none for noise and programme."""
    if section.kind is Kind.TONE and section.tone is not None:
        yield from _along(section, tracks)
    if section.kind in (Kind.MULTITONE, Kind.SWEEP) and section.response is not None:
        yield from _over_frequency(section, tracks)


def _along(section: MeasuredSection, tracks: Sequence[int]) -> Iterable[str]:
    take = section.tone
    if take is None or len(take.along_s) < 2:
        return
    levels = take.level_along_dbfs
    if not np.isfinite(levels).any():
        return
    span_db = max(float(np.nanmax(np.nanmax(levels, 0) - np.nanmin(levels, 0))), _LEAST_SPAN_DB)
    yield f"  level along the section, each track within {span_db:.2f} dB"
    for index, track in enumerate(tracks):
        column = _shortened(levels[:, index])
        if np.isfinite(column).any():
            middle_db = float(np.nanmedian(column))
            yield f"  {track:>4} {_steps(column - middle_db, span_db)}  {middle_db:.2f} dBFS"


def _shortened(column: NDArray[np.float64]) -> NDArray[np.float64]:
    """At most so many columns: the lowest of neighbours is kept, since it is what matters."""
    if len(column) <= _COLUMNS:
        return column
    return np.array([np.nanmin(piece) if np.isfinite(piece).any() else np.nan
                     for piece in np.array_split(column, _COLUMNS)])  # fmt: skip


def _steps(values_db: NDArray[np.float64], span_db: float) -> str:
    places = np.clip((values_db / span_db + 0.5) * (len(_STEPS) - 1), 0, len(_STEPS) - 1)
    return "".join(" " if np.isnan(p) else _STEPS[round(float(p))] for p in places)


def _over_frequency(section: MeasuredSection, tracks: Sequence[int]) -> Iterable[str]:
    """The mean of the valid tracks as bars, re its highest point."""
    response = section.response
    if response is None:
        return
    kept = np.array([v is Validity.OK for v in section.validity])
    levels = np.where(kept, response.level_dbfs, np.nan)
    rows = [row[np.isfinite(row)] for row in levels]
    means = np.array([10.0 * np.log10(np.mean(10.0 ** (r / 10.0))) if len(r) else np.nan
                      for r in rows])  # fmt: skip
    if not np.isfinite(means).any():
        return
    top_db = float(np.nanmax(means))
    span_db = max(top_db - float(np.nanmin(means)), 6.0)
    yield f"  mean of {len(tracks)} tracks, re {top_db:.2f} dBFS; the bars span {span_db:.1f} dB"
    for frequency_hz, mean_db in zip(response.frequencies_hz, means, strict=True):
        if np.isfinite(mean_db):
            length = round(_BAR * (1.0 - (top_db - mean_db) / span_db))
            yield f"  {frequency_hz:8.1f} Hz {'█' * length}▏ {mean_db - top_db:+.2f}"


def drawn_delays(azimuth: CaptureAzimuth, tracks: Sequence[int]) -> Iterable[str]:
    """One row a track, its delay as a mark between the least and the greatest."""
    finite = azimuth.delay_us[np.isfinite(azimuth.delay_us)]
    if len(finite) < 2:
        return
    low, high = float(finite.min()), float(finite.max())
    span = max(high - low, 1e-3)
    yield f"  delay from {low:.3f} to {high:.3f} us"
    for track, delay in zip(tracks, azimuth.delay_us, strict=True):
        if np.isfinite(delay):
            yield f"  {track:>4} {' ' * round(_BAR * (delay - low) / span)}●"
