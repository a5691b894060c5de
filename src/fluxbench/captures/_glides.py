"""Sweeps in a scan: a strongest line whose frequency glides evenly over log frequency."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._scan import Scan

_REACH = 8
"""Hops to either side over which a glide must be even."""

_LEAST_OCTAVES = 1.0
_LEAST_RATE = 0.02
_MOST_RATE = 8.0
"""Octaves a second."""

_UNEVEN_OCTAVES = 0.03
_BREAK_HOPS = 10
_TOLERANCE_OCTAVES = 0.2
_TOLERANCE_HZ = 20.0
_AT_ONCE = 1 << 12
"""Hops whose surroundings are held at once: memory does not grow with a capture."""


def glides(scan: Scan) -> list[tuple[int, int]]:
    """First hop and hop after the last of every sweep of an octave or more."""
    if scan.hops < 4 * _REACH:
        return []
    octaves = np.log2(np.maximum(scan.frequency_hz.astype(np.float64), 1.0))
    rate, uneven = _local_lines(octaves)
    per_s = np.abs(rate) / scan.hop_s
    even = (uneven < _UNEVEN_OCTAVES) & (per_s > _LEAST_RATE) & (per_s < _MOST_RATE)
    found = []
    at = 0
    while at < len(even):
        if not even[at]:
            at += 1
            continue
        begin, end = _extended(octaves, even, np.sign(rate), at)
        if abs(octaves[end - 1] - octaves[begin]) >= _LEAST_OCTAVES:
            begin, end = _to_the_ends(scan, octaves, begin, end)
            found.append((begin, end))
        at = max(end, at + 1)
    return found


def _local_lines(octaves: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slope of a line through the hops around each hop, and the rms distance from it."""
    width = 2 * _REACH + 1
    place = np.arange(-_REACH, _REACH + 1)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(octaves, _REACH, "edge"), width)
    slope, uneven = np.empty((2, len(octaves)))
    for first in range(0, len(octaves), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        slope[some] = windows[some] @ place / float(place @ place)
        off = windows[some] - windows[some].mean(axis=1, keepdims=True)
        off -= slope[some, None] * place
        uneven[some] = np.sqrt(np.mean(off**2, axis=1))
    return slope, uneven


def _extended(
    octaves: NDArray[np.float64],
    even: NDArray[np.bool_],
    way: NDArray[np.float64],
    first: int,
) -> tuple[int, int]:
    """Even hops of one direction that go on from each other, over short breaks."""
    last = first
    for hop in range(first + 1, len(even)):
        if hop - last > _BREAK_HOPS:
            break
        onward = (octaves[hop] - octaves[last]) * way[first]
        if even[hop] and way[hop] == way[first] and -0.05 < onward < 1.0:
            last = hop
    return first, last + 1


def _to_the_ends(scan: Scan, octaves: NDArray[np.float64], begin: int, end: int) -> tuple[int, int]:
    """Onward at both ends as far as the line through the glide foretells the frequency."""
    middle = np.arange(begin, end)
    slope, start = np.polyfit(middle, octaves[begin:end], 1)

    def foretold(hop: int) -> bool:
        expected_hz = 2.0 ** (start + slope * hop)
        off_hz = abs(float(scan.frequency_hz[hop]) - expected_hz)
        allowed_hz = max(_TOLERANCE_HZ, (2.0**_TOLERANCE_OCTAVES - 1.0) * expected_hz)
        return off_hz < allowed_hz and float(scan.line_share[hop]) > 0.5

    while begin > 0 and foretold(begin - 1):
        begin -= 1
    while end < scan.hops and foretold(end):
        end += 1
    return begin, end
