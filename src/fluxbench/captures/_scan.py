"""One look through a capture, hop by hop of 20 ms: enough to find its sections.

All tracks together are looked at as two weighted sums, in which no polarity and no delay can hide
a tone twice; only powers are taken of every track.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.captures._header import Header
from fluxbench.captures._source import Source

HOP_S = 0.02
HOPS_A_WINDOW = 3
WORKERS = 2
_STRETCH_HOPS = 250
_WINDOW_SAMPLES = 120_000
"""Of windows that are transformed together."""
_LOWEST_HZ = 12.0
_NEAR_LINES = 3.2
_NEAR_RATIO = 0.04
_ABSURD = 1e4
BAND_EDGES_HZ = (12.0, 90.0, 180.0, 355.0, 710.0, 1400.0, 2800.0, 5600.0, 11_200.0, 22_400.0)

F32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Scan:
    """Facts of every hop; arrays have shape (hops,) or (hops, ...).

    `track_power` (hops, tracks) is the mean square of each track. Of the sums of all tracks, in a
    window of three hops around the hop: `frequency_hz` of the strongest line, the
    `line_share` of the power that lies around it, and `band_power` (hops, bands) about an octave
    wide. `silent_frames` is the longest run of frames without anything on any track.
    """

    hop_frames: int
    rate_hz: int
    track_power: F32
    frequency_hz: F32
    line_share: F32
    band_power: F32
    silent_frames: NDArray[np.int32]
    not_finite: NDArray[np.bool_]
    """Shape (tracks,)."""
    failed_frames: int

    @property
    def hops(self) -> int:
        """How many hops there are."""
        return len(self.frequency_hz)

    @property
    def hop_s(self) -> float:
        """The length of a hop in s."""
        return self.hop_frames / self.rate_hz


def scan(
    path: str,
    header: Header,
    tracks: Sequence[int],
    first: int,
    last: int,
    told: Callable[[int], None] = lambda frames: None,
    threads: int = WORKERS,
) -> Scan:
    """Look through frames `first` to `last`; `told` hears of the frames that are done."""
    hop = max(round(header.rate_hz * HOP_S), 1)
    hops = max((last - first) // hop, 1)
    stretches = [(at, min(at + _STRETCH_HOPS, hops)) for at in range(0, hops, _STRETCH_HOPS)]
    weights = weights_of(len(tracks))

    def look(stretch: tuple[int, int]) -> _Stretch:
        begin, end = stretch
        with Source(path, header, tracks) as source:
            found = _look(source, first, last, hop, begin, end, header.rate_hz, weights)
        told((end - begin) * hop)
        return found

    with ThreadPoolExecutor(threads) as pool:
        seen = list(pool.map(look, stretches))
    return Scan(
        hop_frames=hop,
        rate_hz=header.rate_hz,
        track_power=np.concatenate([each.track_power for each in seen]),
        frequency_hz=np.concatenate([each.frequency_hz for each in seen]),
        line_share=np.concatenate([each.line_share for each in seen]),
        band_power=np.concatenate([each.band_power for each in seen]),
        silent_frames=np.concatenate([each.silent_frames for each in seen]),
        not_finite=np.any([each.not_finite for each in seen], axis=0),
        failed_frames=sum(each.failed_frames for each in seen),
    )


def weighted_sums(samples: F32, weights: F32) -> F32:
    """Sums of all tracks, (frames, sums)."""
    return np.asarray(np.matmul(samples, weights), np.float32)


def weights_of(tracks: int) -> F32:
    """Two irregular weights a track, (tracks, sums); one track is itself."""
    if tracks == 1:
        return np.ones((1, 1), np.float32)
    random = np.random.default_rng(266)
    size = random.uniform(0.6, 1.4, (tracks, 2)) / np.sqrt(tracks)
    return np.asarray(size * random.choice([-1.0, 1.0], (tracks, 2)), np.float32)


@dataclass(frozen=True, slots=True)
class _Stretch:
    track_power: F32
    frequency_hz: F32
    line_share: F32
    band_power: F32
    silent_frames: NDArray[np.int32]
    not_finite: NDArray[np.bool_]
    failed_frames: int


def _look(
    source: Source,
    first: int,
    last: int,
    hop: int,
    begin: int,
    end: int,
    rate_hz: int,
    weights: F32,
) -> _Stretch:
    """Hops `begin` to `end`, with the hop before and after that their windows reach into."""
    low, high = first + (begin - 1) * hop, first + (end + 1) * hop
    inside = max(low, first), min(high, last)
    sums = np.zeros((weights.shape[1], high - low), np.float32)
    squares = np.zeros((end - begin + 2, len(weights)), np.float64)
    not_finite = np.zeros(len(weights), bool)
    at = inside[0] - low
    for block in source.blocks(*inside, hop):
        mixed = weighted_sums(block, weights)
        if not np.abs(mixed).max() < _ABSURD:  # not a number compares as false
            not_finite |= ~(np.abs(block) < _ABSURD).all(axis=0)
            block = np.where(np.abs(block) < _ABSURD, block, np.float32(0.0))
            mixed = weighted_sums(block, weights)
        sums[:, at : at + len(block)] = mixed.T
        _add_squares(squares, block, at, hop)
        at += len(block)
    inner = sums[:, hop:-hop].reshape(-1, end - begin, hop)
    frequency_hz, line_share, band_power = _spectra(sums, hop, rate_hz)
    return _Stretch(
        (squares[1:-1] / hop).astype(np.float32),
        frequency_hz,
        line_share,
        band_power,
        _longest_silence((inner == 0.0).all(axis=0)),
        not_finite,
        source.failed,
    )


def _add_squares(squares: NDArray[np.float64], block: F32, at: int, hop: int) -> None:
    """Add the squares of a block that begins with a hop, `at` a frame, to those of its hops."""
    first, whole = at // hop, len(block) // hop
    tracks = block.T
    hops = tracks[:, : whole * hop].reshape(len(tracks), whole, hop)
    squares[first : first + whole] += np.einsum("ijk,ijk->ji", hops, hops)
    rest = tracks[:, whole * hop :]
    if rest.shape[1] and first + whole < len(squares):
        squares[first + whole] += np.einsum("ij,ij->i", rest, rest)


def _spectra(sums: F32, hop: int, rate_hz: int) -> tuple[F32, F32, F32]:
    """Strongest line, its share, and band powers of every window of three hops."""
    width = HOPS_A_WINDOW * hop
    taper = (0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(width) + 0.5) / width)).astype(np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(sums, width, axis=1)[:, ::hop]
    few = max(_WINDOW_SAMPLES // width, 1)
    parts = [
        _of_windows(windows[:, at : at + few], taper, rate_hz)
        for at in range(0, windows.shape[1], few)
    ]
    frequency_hz, share, bands = (np.concatenate(each) for each in zip(*parts, strict=True))
    return frequency_hz, share, bands


def _of_windows(windows: F32, taper: F32, rate_hz: int) -> tuple[F32, F32, F32]:
    """Windows have the shape (sums, windows, frames)."""
    count, width = windows.shape[1:]
    parts = fft.rfft(windows * taper, axis=2).view(np.float32)
    squares = np.square(parts, out=parts).sum(axis=0)
    lines = squares.shape[1] // 2
    power = np.zeros((count, lines + 1), np.float32)  # the last one is none: sums may end there
    np.add(squares[:, ::2], squares[:, 1::2], out=power[:, :-1])
    line_hz = rate_hz / width
    power[:, : int(np.ceil(_LOWEST_HZ / line_hz))] = 0.0
    rows = np.arange(count)
    top = np.clip(np.argmax(power, axis=1), 1, lines - 2)
    centre = top + _parabola(*(np.log(power[rows, top + k] + 1e-30) for k in (-1, 0, 1)))
    reach = np.maximum(_NEAR_LINES, _NEAR_RATIO * centre)
    low = np.clip(np.ceil(centre - reach).astype(int), 0, lines - 1)
    high = np.clip(np.floor(centre + reach).astype(int) + 1, low + 1, lines)
    places = np.stack([0 * low, low, high], axis=1) + rows[:, None] * (lines + 1)
    held = np.add.reduceat(power.ravel(), places.ravel()).reshape(count, 3).astype(np.float64)
    share = held[:, 1] / np.maximum(held.sum(axis=1), 1e-30)
    edges = np.clip(np.ceil(np.array(BAND_EDGES_HZ) / line_hz).astype(int), 0, lines)
    bands = np.add.reduceat(power, edges, axis=1)[:, :-1] * (np.diff(edges) > 0)
    return (
        (centre * line_hz).astype(np.float32),
        share.astype(np.float32),
        (bands * (2.0 / width / float(taper @ taper))).astype(np.float32),
    )


def _parabola(before: F32, top: F32, after: F32) -> NDArray[np.float64]:
    """Place of the top of a parabola through three points, re the middle one."""
    bend = before - 2.0 * top + after
    safe = np.where(np.abs(bend) > 1e-9, bend, -1.0)
    return np.clip(np.where(np.abs(bend) > 1e-9, 0.5 * (before - after) / safe, 0.0), -0.5, 0.5)


def _longest_silence(silent: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Longest run of frames without anything, in each hop."""
    longest = np.zeros(len(silent), np.int32)
    for index in np.flatnonzero(silent.any(axis=1)):
        edges = np.flatnonzero(np.diff(silent[index].astype(np.int8), prepend=0, append=0))
        longest[index] = (edges[1::2] - edges[::2]).max()
    return longest
