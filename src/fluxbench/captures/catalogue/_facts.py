"""What a worker does with one capture: tell its content by a hash, measure it, say what went wrong.

Facts are plain values after `read.schema.json`, with the alignment of the tracks beside them. They
depend on the content of the file alone: what is declared about it is for the judgement.
"""

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluxbench.base import CaptureError
from fluxbench.captures._line import line_of
from fluxbench.captures._line_related import number
from fluxbench.captures._read import read_capture
from fluxbench.captures.catalogue._beneath import hum_beneath
from fluxbench.captures.catalogue._peaks import peaks_of
from fluxbench.trade import LEVEL_HZ

FACTS_VERSION = 2
"""Of what is measured and how it is told; facts of another version are measured anew."""

_AT_ONCE = 1 << 20

Facts = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """The content of a file, and how it looked from outside when it was read."""

    sha256: str
    size_bytes: int
    changed_ns: int


def fingerprint(path: str, told: Callable[[], None] = lambda: None) -> Fingerprint:
    """Hash a whole file; `CaptureError` if it cannot be read, or grows or changes meanwhile."""
    digest = hashlib.sha256()
    room = bytearray(_AT_ONCE)
    try:
        if not os.path.isfile(path):
            raise CaptureError(f"{path} is no file; give captures, or folders of them")
        with open(path, "rb", buffering=0) as file:
            before = os.fstat(file.fileno())
            while got := file.readinto(room):
                digest.update(memoryview(room)[:got])
                told()
            after = os.fstat(file.fileno())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CaptureError(f"{path} cannot be read: {reason}") from None
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise CaptureError(f"{path} changes while it is read; try again when it is whole")
    return Fingerprint(digest.hexdigest(), after.st_size, after.st_mtime_ns)


def still_is(path: str, seen: Fingerprint) -> bool:
    """Whether the file still looks from outside as when its content was told."""
    try:
        now = os.stat(path)
    except OSError:
        return False
    return (now.st_size, now.st_mtime_ns) == (seen.size_bytes, seen.changed_ns)


def facts_of(path: str, told: Callable[[float], None] = lambda share: None) -> Facts:
    """Measure a capture, on one thread, and tell it as plain values.

    `CaptureError` if it cannot be read.
    """
    reading = read_capture(path, flutter_hz=[LEVEL_HZ], told=told, threads=1)
    azimuth = reading.azimuth
    hum_hz, hum_dbfs = hum_beneath(reading)
    peaks = peaks_of(reading, lambda: told(1.0))
    facts = line_of(reading)
    del facts["capture"]["path"]
    facts["aligned"] = {
        "polarity": list(reading.polarity),
        "frequency_hz": number(azimuth.frequency_hz),
        "delay_us": [number(value) for value in azimuth.delay_us],
        "delay_us_uncertainty": [number(value) for value in azimuth.delay_standard_error_us],
        "slope_us_per_track": number(azimuth.slope_us_per_track),
    }
    with np.errstate(divide="ignore"):
        facts["peak_dbfs"] = [number(value) for value in 20.0 * np.log10(peaks.peak)]
    facts["hum_beneath"] = [
        {"frequency_hz": number(hz), "level_dbfs": number(level)}
        for hz, level in zip(hum_hz, hum_dbfs, strict=True)
    ]
    facts["clipped_runs"] = [int(count) for count in peaks.clipped_runs]
    facts["flat_tops"] = [int(count) for count in peaks.flat_tops]
    return facts
