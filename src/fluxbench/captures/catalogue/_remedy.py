"""Corrected copies: what can be put right in a file, in a new file with its history appended."""

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fluxbench import __version__
from fluxbench.base import FluxbenchError, MisuseError
from fluxbench.captures._bext import BroadcastExtension
from fluxbench.captures._header import Header
from fluxbench.captures._source import Source, open_header
from fluxbench.captures._wave_file import WaveFormat, write_wave
from fluxbench.captures.catalogue._against_tones import short
from fluxbench.captures.catalogue._corrections import Corrections
from fluxbench.captures.catalogue._faults import Verdict
from fluxbench.captures.catalogue._filters import (
    filtered,
    resampled,
    resampled_frames,
    responses,
)
from fluxbench.captures.catalogue._row import Entry
from fluxbench.captures.catalogue._walk import Found

F64 = NDArray[np.float64]

BITS = 24
_ROOM_DB = 0.1
_FULL = 1.0 - 2.0 ** (1 - BITS)


class _TooLoudError(Exception):
    """The copy would not fit below full scale; carries its peak."""

    def __init__(self, peak: float) -> None:
        super().__init__(peak)
        self.peak = peak


@dataclass(frozen=True, slots=True)
class Remedy:
    """Makes the corrected copies of a catalogue in a folder; originals are only read."""

    folder: Path
    originals: tuple[str, ...]

    def __post_init__(self) -> None:
        """Refuse a folder in which a copy could take the place of an original."""
        here = os.path.realpath(self.folder)
        for place in self.originals:
            if os.path.isdir(place) and os.path.realpath(place) == here:
                raise MisuseError(
                    f"{self.folder} holds the originals; give --remedy another folder"
                )

    def __call__(self, entry: Entry, found: Found) -> Entry:
        """Write the copy of an entry that asks for repair, and name it in the entry."""
        judgement = entry.judgement
        if judgement is None or judgement.corrections is None or entry.facts is None:
            return entry
        corrections = judgement.corrections
        if judgement.verdict is not Verdict.REPAIR:
            return entry
        likely = judgement.heard.likely
        if likely.as_recorded is False and likely.recorded is None:
            return replace(entry, corrected="not written: which equalisation it has is not sure")
        if not corrections.changes:
            return entry
        target = self.folder / Path(found.below).with_suffix(".wav")
        try:
            if target.exists() and os.path.samefile(target, found.path):
                raise MisuseError(f"{target} is the original; give --remedy another folder")
            target.parent.mkdir(parents=True, exist_ok=True)
            correct(found.path, target, corrections, entry.sha256)
        except OSError as error:
            return replace(entry, corrected=f"not written: {error.strerror or error}")
        except FluxbenchError as error:
            return replace(entry, corrected=f"not written: {error}")
        return replace(entry, corrected=str(target))


def correct(path: str, target: Path, corrections: Corrections, sha256: str = "") -> None:
    """Write a corrected copy of a capture as a 24-bit Broadcast Wave file.

    Where it would go beyond full scale all tracks are lowered, and the history says by how much.
    `CaptureError` if it cannot be read or written.
    """
    header = open_header(path)
    lower_db = 0.0
    while True:
        frames = resampled_frames(header.frames, 1.0 / corrections.speed_ratio)
        if corrections.speed_ratio == 1.0:
            frames = header.frames
        form = WaveFormat(header.rate_hz, BITS, header.tracks, frames)
        broadcast = _with_history(header, path, corrections, lower_db, sha256)
        try:
            blocks = _blocks(path, header, corrections, lower_db)
            write_wave(target, form, broadcast, blocks, replace=True)
            return
        except _TooLoudError as error:
            lower_db += 20.0 * np.log10(error.peak) + _ROOM_DB


def _blocks(path: str, header: Header, corrections: Corrections, lower_db: float) -> Iterator[F64]:
    """The corrected samples; `_TooLoudError` in the end if any of them does not fit."""
    rows, late = responses(corrections, header.rate_hz)
    rows = rows * 10.0 ** (-lower_db / 20.0)
    peak = 0.0
    with Source(path, header, range(1, header.tracks + 1)) as source:
        blocks = filtered(source.blocks(0, header.frames), rows, late)
        if corrections.speed_ratio != 1.0:
            blocks = resampled(blocks, header.frames, 1.0 / corrections.speed_ratio)
        for block in blocks:
            peak = max(peak, float(np.abs(block).max(initial=0.0)))
            yield block
    if peak > _FULL:
        raise _TooLoudError(peak)


def _with_history(
    header: Header, path: str, corrections: Corrections, lower_db: float, sha256: str
) -> BroadcastExtension:
    """What the original says, and one line more (EBU R98)."""
    known = header.broadcast or BroadcastExtension(
        description=f"Corrected copy of {os.path.basename(path)}", originator="Fluxbench"
    )
    mode = {1: "mono", 2: "stereo"}.get(header.tracks, "mono")
    line = {
        "A": "PCM",
        "F": str(header.rate_hz),
        "W": str(BITS),
        "M": mode,
        "T": told(corrections, lower_db, header.tracks, sha256),
    }
    # Loudness and peak of the original are not those of the copy.
    return replace(
        known,
        version=min(known.version, 1),
        loudness_value_lufs=None,
        loudness_range_lu=None,
        max_true_peak_dbtp=None,
        max_momentary_loudness_lufs=None,
        max_short_term_loudness_lufs=None,
        coding_history=(*known.coding_history, line),
    )


def told(corrections: Corrections, lower_db: float, tracks: int, sha256: str) -> str:
    """The corrections as free text of a coding history: ASCII, no commas, parts by semicolons."""
    parts = [f"Fluxbench {__version__}; corrected copy"]
    if sha256:
        parts.append(f"of sha256 {sha256[:16]}")
    if any(corrections.gain_db):
        parts.append(f"gain dB {_each(corrections.gain_db, '{:+.2f}')}")
    if -1 in corrections.polarity:
        turned = [str(n) for n, way in enumerate(corrections.polarity, 1) if way < 0]
        parts.append(f"polarity turned on {' '.join(turned)}")
    if any(corrections.advance_us):
        parts.append(f"sooner by us {_each(corrections.advance_us, '{:+.2f}')}")
    if corrections.played is not None and corrections.recorded is not None:
        ends = (short(corrections.played), short(corrections.recorded))
        parts.append("equalisation {} to {}".format(*ends).replace("∞", "inf"))
    if corrections.speed_ratio != 1.0:
        parts.append(f"speed by {100.0 * (1.0 / corrections.speed_ratio - 1.0):+.3f} %")
    if lower_db:
        parts.append(f"all tracks {-lower_db:.2f} dB to fit")
    if tracks > 2:
        parts.append(f"{tracks} tracks")
    return "; ".join(parts)


def _each(values: tuple[float, ...], form: str) -> str:
    return " ".join(form.format(value) for value in values)
