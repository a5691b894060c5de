"""One capture, from its header to its azimuth."""

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np

from fluxbench.base import CaptureError, MisuseError, Validity
from fluxbench.captures._again import own_tracks
from fluxbench.captures._damage import apart_at_damage
from fluxbench.captures._header import Header
from fluxbench.captures._judgement import judged
from fluxbench.captures._measuring import Plan, planned
from fluxbench.captures._polarity import alignment_of
from fluxbench.captures._reel import along_reel, level_sweeps, stepped
from fluxbench.captures._related import related
from fluxbench.captures._results import CaptureReading, MeasuredSection
from fluxbench.captures._scan import WORKERS, scan
from fluxbench.captures._sections import SHORTEST_S, Kind, Section, find_sections
from fluxbench.captures._source import open_header
from fluxbench.captures._stretch import Capture

_BREATH_S = 0.5
"""Between two sections of programme: they are one."""


def read_capture(
    path: str,
    *,
    tracks: Sequence[int] = (),
    from_s: float = 0.0,
    to_s: float = np.inf,
    flutter_hz: Sequence[float] = (),
    told: Callable[[float], None] = lambda share: None,
    threads: int = WORKERS,
) -> CaptureReading:
    """Read one capture: find its sections and measure them.

    Parameters
    ----------
    path
        A WAV, RF64, BW64, AIFF or FLAC file of 1 to 64 tracks, 8 to 192 kHz.
    tracks
        Numbers of the tracks to read, from 1; all if left out.
    from_s, to_s
        What to read of it, in s from its start.
    flutter_hz
        Tones that flutter is read from as well as from speed tones.
    told
        Hears how much is done, from 0 to 1, from several threads.
    threads
        How many work side by side; what is read does not depend on it.

    Returns
    -------
    CaptureReading
        Whatever is wrong with the samples is a validity in it.

    Raises
    ------
    CaptureError
        The file cannot be read, or holds no frames (in the part that was asked for).
    MisuseError
        Tracks that the file does not have.
    """
    header = open_header(path)
    wanted = _tracks(path, header, tracks)
    first, last = _part(path, header, from_s, to_s)
    progress = _Progress(last - first, told)
    try:
        with np.errstate(all="ignore"):
            found = scan(path, header, wanted, first, last, progress.scanned, threads)
            capture = Capture(path, header, wanted, first, found, tuple(flutter_hz))
            sections = _sections(capture, last - first, progress, threads)
            sections = related(capture, sections, threads)
            alignment = alignment_of([own_tracks(section) for section in sections], wanted)
            sweeps = level_sweeps(sections)
    except OSError as error:
        raise CaptureError(f"{path} cannot be read on: {error.strerror or error}") from None
    validity, notes = judged(header, wanted, last - first, found, sections)
    return CaptureReading(
        path,
        header,
        wanted,
        header.frames / header.rate_hz,
        validity,
        (*header.notes, *notes, *_reversed(alignment.polarity, wanted)),
        tuple(sections),
        alignment.azimuth,
        alignment.polarity,
        tuple(along_reel(sections, sweeps)),
        tuple(sweeps),
        stepped(sections, sweeps),
    )


def _reversed(polarity: Sequence[int], tracks: Sequence[int]) -> tuple[str, ...]:
    """A note on tracks that are reversed."""
    found = [str(track) for track, way in zip(tracks, polarity, strict=True) if way < 0]
    if not found:
        return ()
    many = len(found) > 1
    note = (
        f"track{'s' * many} {', '.join(found)} {'are' if many else 'is'} reversed in polarity"
        " against the others; delays are those of tracks turned round"
    )
    return (note,)


class _Progress:
    """How much is done: looking through is taken as a third of it."""

    def __init__(self, frames: int, told: Callable[[float], None]) -> None:
        self._frames, self._told = max(frames, 1), told
        self._scanned = self._measured = 0

    def scanned(self, frames: int) -> None:
        self._scanned += frames
        self._tell()

    def measured(self, frames: int) -> None:
        self._measured += frames
        self._tell()

    def _tell(self) -> None:
        self._told(min((self._scanned + 2.0 * self._measured) / (3.0 * self._frames), 1.0))


def _tracks(path: str, header: Header, tracks: Sequence[int]) -> tuple[int, ...]:
    if not tracks:
        return tuple(range(1, header.tracks + 1))
    beyond = [track for track in tracks if not 1 <= track <= header.tracks]
    if beyond:
        raise MisuseError(f"{path} has no track {beyond[0]}; it has 1 to {header.tracks}")
    return tuple(sorted(set(tracks)))


def _part(path: str, header: Header, from_s: float, to_s: float) -> tuple[int, int]:
    length_s = header.frames / header.rate_hz
    first = round(min(from_s, length_s) * header.rate_hz)
    last = round(min(to_s, length_s) * header.rate_hz)
    if first >= last:
        raise CaptureError(
            f"{path} holds no frames from {from_s:g} s on; it is {length_s:.3f} s long"
        )
    return first, last


def _sections(
    capture: Capture, frames: int, progress: _Progress, threads: int
) -> list[MeasuredSection]:
    """Measure the sections, part by part, the longest work first, side by side."""
    if frames < SHORTEST_S * capture.header.rate_hz:
        return []

    def plan(section: Section) -> Plan:
        with np.errstate(all="ignore"):
            return planned(capture, section, progress.measured)

    def work(part: Callable[[], Any]) -> Any:
        with np.errstate(all="ignore"):
            return part()

    with ThreadPoolExecutor(threads) as pool:
        plans = sorted(
            pool.map(plan, apart_at_damage(find_sections(capture.scan), capture.scan)),
            key=lambda plan: -plan.cost,
        )
        waiting = deque(
            (plan.finish, [pool.submit(work, part) for part in plan.parts]) for plan in plans
        )
        del plans
        results = []
        while waiting:  # what the parts gave goes as soon as it is put together
            finish, parts = waiting.popleft()
            results.append(finish([part.result() for part in parts]))
    return _joined(sorted(results, key=lambda section: section.start_s))


def _joined(sections: Sequence[MeasuredSection]) -> list[MeasuredSection]:
    """Programme that goes on as one section, over what was too short to be one."""
    joined: list[MeasuredSection] = []
    for section in sections:
        before = joined[-1] if joined else None
        if (
            before is not None
            and before.kind is section.kind is Kind.PROGRAMME
            and section.start_s - before.end_s < _BREATH_S
        ):
            worst = tuple(
                a if a is not Validity.OK else b
                for a, b in zip(before.validity, section.validity, strict=True)
            )
            joined[-1] = replace(before, end_s=section.end_s, validity=worst)
        else:
            joined.append(section)
    return joined
