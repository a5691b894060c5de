"""Where the frequency of a low tone steps and stays."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray


def pitches(
    frequency_hz: NDArray[np.float64], line: NDArray[np.bool_], beside: int, step: float
) -> list[tuple[int, int, float]]:
    """First hop, hop after the last, and frequency of every pitch that a tone (hops,) keeps.

    Medians of `beside` hops on either side are compared; a step is a ratio above 1 + `step`.
    `line` says which hops hold a line at all; at its ends a pitch has only hops that do, and that
    are near it. Limits are our choice.

    Examples
    --------
    >>> tones_hz = np.repeat([40.0, 31.5], 100)
    >>> pitches(tones_hz, np.ones(200, bool), 20, 0.1)
    [(0, 100, 40.0), (100, 200, 31.5)]
    """
    hops = len(frequency_hz)
    whole = [(0, hops, float(np.median(frequency_hz)))]
    if hops < 2 * beside:
        return whole
    lines = np.flatnonzero(line)  # where there is none, that of the hop before
    followed = frequency_hz[lines[np.searchsorted(lines, np.arange(hops), "right").clip(1) - 1]]
    windows = np.lib.stride_tricks.sliding_window_view(followed, beside)
    octaves = np.log2(np.median(windows, axis=1))
    moved = np.abs(octaves[beside:] - octaves[:-beside])
    edges: list[int] = []
    for index in np.argsort(-moved, kind="stable"):
        if moved[index] < np.log2(1.0 + step):
            break
        edge = _edge(followed, int(index) + beside, beside)
        if all(abs(edge - other) >= beside for other in edges):
            edges.append(edge)
    if not edges:
        return whole
    found: list[tuple[int, int, float]] = []
    for a, b in pairwise([0, *sorted(edges), hops]):
        first, last, pitch_hz = _trimmed(followed, line, a, b, step)
        if found and abs(pitch_hz / found[-1][2] - 1.0) < step:
            found[-1] = (found[-1][0], max(last, found[-1][1]), found[-1][2])
        else:
            found.append((first, last, pitch_hz))
    return found


def _edge(followed: NDArray[np.float64], near: int, beside: int) -> int:
    """The hop that parts the pitches on either side best; medians do not tell it."""
    some = followed[near - beside : near + beside]
    before, after = np.median(some[:beside]), np.median(some[beside:])
    cost = np.cumsum(np.abs(some - before) - np.abs(some - after))
    return near - beside + int(np.argmin(cost)) + 1


def _trimmed(
    followed: NDArray[np.float64], line: NDArray[np.bool_], first: int, last: int, step: float
) -> tuple[int, int, float]:
    """Without the hops at the ends that hold no line, or another pitch."""
    pitch_hz = float(np.median(followed[first:last]))
    own = line[first:last] & (np.abs(followed[first:last] / pitch_hz - 1.0) < step)
    places = np.flatnonzero(own)
    if not len(places):
        return first, first, pitch_hz
    return first + int(places[0]), first + int(places[-1]) + 1, pitch_hz
