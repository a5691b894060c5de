"""Frames that were lost in silence: the phase of a tone jumps, on all tracks in the same moment.

A driver that drops frames without a word leaves a stream that looks whole. The tone in it gives it
away: its phase jumps by the frames that are missing. Flutter turns the phase too, but never within
a millisecond or two; a drop-out or a trimmer moves one track, lost frames move all alike.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure._windows import raised_cosine

POINTS_PER_HOP = 40
LOWEST_HZ = 900.0
"""Below it a window of two periods is longer than flutter allows."""
WINDOW_S = 0.001
WINDOW_PERIODS = 2.0
APART = 3.0
"""Windows are so many times longer than a period of the distance to the next tone."""
LONGEST_S = 0.004
MOST_TRACKS = 4
MOST_TONES = 2
MOST_LISTENED = 4
"""Where more tones are listened to they come and go: nothing is watched then."""
LEAST_DEG = 3.0
TIMES = 14.0
"""How many usual sizes (the median) of the phase's bend a jump stands out by at the least."""
STEADY_DB = 3.0
"""A jump in level by more is something else."""
BESIDE_DB = 12.0
"""Tracks of a tone so far below its loudest one are not looked at."""
QUIETEST_DBFS = -70.0
START_DEG = 60.0
"""Of a tone that is new: for 0.2 s nothing is judged, for 0.5 s only great jumps."""
LEARN = 0.15

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
C64 = NDArray[np.complex64]


@dataclass(slots=True)
class _Watched:
    """One tone on the tracks that carry it best, and how much its phase usually bends."""

    frequency_hz: float
    tracks: NDArray[np.int_]
    window: F32
    before: C64
    level: F64
    usual_rad: float = float(np.radians(START_DEG))


class SlipDetector:
    """Watches the stronger tones, hop by hop, for a phase that jumps on all tracks at once.

    Parameters
    ----------
    rate_hz, hop_frames
        Sample rate, and frames of a hop.

    Notes
    -----
    Two neighbouring windows of 1 ms (two periods of lower tones) give the phase on either side of
    an instant; what it turns by, less the mean of what it turns by 2 windows earlier and later, is
    the bend: zero for a steady tone at any speed, small for flutter, and 360 degrees x frequency x
    frames / rate where frames are missing. It is a jump when it stands out of the usual bend (a
    running median) on every watched track of a tone and no level changes. Lost frames that are
    whole cycles of every tone leave no trace, and spoil nothing. The limits are our choice.

    Examples
    --------
    Twelve frames of 1 kHz at 48 kHz are a quarter of a turn.

    >>> sine = np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000).astype(np.float32)
    >>> cut = np.delete(sine, slice(60_000, 60_012))
    >>> seen = SlipDetector(48_000, 960)
    >>> found = [seen.see(cut[n : n + 960, None], n, (1000.0,)) for n in range(0, 95_000, 960)]
    >>> [hop for hop, slipped in enumerate(found) if slipped]
    [62, 63]
    """

    def __init__(self, rate_hz: int, hop_frames: int) -> None:
        self._rate_hz, self._hop = rate_hz, hop_frames
        self._longest = 0
        self._points_per_hop = POINTS_PER_HOP if hop_frames % POINTS_PER_HOP == 0 else 20
        self._step = hop_frames // self._points_per_hop
        self._watched: list[_Watched] = []
        self._tones: tuple[float, ...] = ()
        self._high: list[float] = []
        self._past: F32 = np.zeros((0, 0), np.float32)
        self._faint = 0

    def see(self, new: F32, first_frame: int, tones_hz: tuple[float, ...]) -> bool:
        """Take the samples of the next hop (hop_frames, tracks); say if frames are missing.

        The answer comes up to three windows late: up to 6 ms before the hop, or within it.
        """
        if tones_hz != self._tones or self._past.shape[1:] != new.shape[1:]:
            self._begin(new, tones_hz)
        if not self._high:
            return False
        samples = np.concatenate([self._past, new])
        self._past = samples[-self._longest :]
        if len(samples) < self._longest + self._hop:
            return False
        if not self._watched or self._faint > 10:
            self._choose(samples, first_frame)
        slipped = [self._slipped(one, samples, first_frame) for one in self._watched]
        return any(slipped)

    def forget(self) -> None:
        """Begin anew: frames are known to be missing, or the stream is another one."""
        self._tones = ()

    def _begin(self, new: F32, tones_hz: tuple[float, ...]) -> None:
        self._tones, self._watched, self._faint = tones_hz, [], 0
        few = len(tones_hz) <= MOST_LISTENED
        self._high = [f for f in tones_hz if few and f >= LOWEST_HZ]
        self._longest = max([self._span(f) for f in self._high], default=0)
        self._past = np.zeros((0, new.shape[1]), np.float32)

    def _span(self, frequency_hz: float) -> int:
        """Frames of a window: a whole number of points."""
        others = [abs(f - frequency_hz) for f in self._tones if f != frequency_hz]
        apart_s = APART / min(others) if others else 0.0
        seconds = max(WINDOW_S, WINDOW_PERIODS / frequency_hz, min(apart_s, LONGEST_S))
        return int(np.ceil(seconds * self._rate_hz / self._step)) * self._step

    def _choose(self, samples: F32, first_frame: int) -> None:
        """The two strongest tones, each on the tracks that carry it best."""
        self._watched, self._faint = [], 0
        candidates = []
        for f in self._high:
            window = self._window(f)
            size = np.abs(self._points(window, samples, first_frame, f)).mean(axis=0)
            candidates.append((float(size.max(initial=0.0)), f, window, size))
        candidates.sort(key=lambda one: -one[0])
        for most, f, window, size in candidates[:MOST_TONES]:
            if most < 10.0 ** (QUIETEST_DBFS / 20.0):
                continue
            order = np.argsort(-size, kind="stable")[:MOST_TRACKS]
            tracks = order[size[order] >= most * 10.0 ** (-BESIDE_DB / 20.0)]
            history = np.zeros((5 * self._span(f) // self._step, len(tracks)), np.complex64)
            self._watched.append(_Watched(f, tracks, window, history, size[tracks]))

    def _window(self, frequency_hz: float) -> F32:
        """The window of a point, turned back by the tone (frames, 2: real and imaginary)."""
        return turned_back(self._span(frequency_hz), frequency_hz / self._rate_hz)

    def _points(self, window: F32, samples: F32, first_frame: int, frequency_hz: float) -> C64:
        """Phases of a hop's points (points, tracks), re a clock of the tone's frequency."""
        (span, _), tracks, points = window.shape, samples.shape[1], self._points_per_hop
        begins = len(samples) - self._hop + self._step - span
        row, size = samples.strides
        pieces = np.ndarray(
            (points, tracks, span), np.float32, samples, begins * row, (self._step * row, size, row)
        )
        found = (pieces.reshape(-1, span) @ window).view(np.complex64).reshape(points, tracks)
        turns_per_frame = frequency_hz / self._rate_hz
        start = (first_frame + self._step - span) * turns_per_frame % 1.0
        turns = start + turns_per_frame * self._step * np.arange(points)
        back = np.exp(-2j * np.pi * turns).astype(np.complex64)
        return np.asarray(found * back[:, np.newaxis])

    def _slipped(self, one: _Watched, samples: F32, first_frame: int) -> bool:
        watched = np.take(samples, one.tracks, axis=1)
        new = self._points(one.window, watched, first_frame, one.frequency_hz)
        points = np.concatenate([one.before, new])
        one.before = points[-len(one.before) :]
        apart = self._span(one.frequency_hz) // self._step
        size = np.abs(points)
        middle = _median(size[-self._points_per_hop :])
        if (middle < 0.5 * one.level).any():
            self._faint += 1  # it has ended, or it is on other tracks now
        else:
            one.level += LEARN * (middle - one.level)
        bend, steady = bends(np.angle(points), size, one.level, apart)
        bend = np.abs(bend)
        usual = one.usual_rad
        one.usual_rad += LEARN * (float(_median(bend.ravel())) - usual)
        limit = max(np.radians(LEAST_DEG), TIMES * usual)
        return bool(np.any(np.all((bend > limit) & steady, axis=1)))


def _median(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """The upper median along the first axis; a fifth of what `np.median` takes on so few."""
    middle = len(values) // 2
    return np.asarray(np.partition(values, middle, axis=0)[middle])


def turned_back(span: int, turns_per_frame: float) -> F32:
    """A raised cosine turned back by the tone, shape (span, 2): real and imaginary.

    Samples (n, span) times it are the amplitudes of the tone in n windows.
    """
    turned = np.exp(-2j * np.pi * turns_per_frame * np.arange(span)) * raised_cosine(span)
    return np.asarray(np.stack([turned.real, turned.imag], axis=1) * (4.0 / span), np.float32)


def bends(
    phase_rad: F32, size: NDArray[np.floating], usual: NDArray[np.floating], apart: int
) -> tuple[F64, NDArray[np.bool_]]:
    """How far a turn stands from the mean of those before and after, -pi to pi, (points, tracks).

    A turn is the phase (points, tracks) less that of `apart` points earlier. Beside it stands
    whether the level is steady (3 dB) over all that goes into it, and no lower than the `usual`
    one (tracks,): in a drop-out the phase is that of noise.
    """
    turned = phase_rad[apart:] - phase_rad[:-apart]
    before, after = turned[: -4 * apart], turned[4 * apart :]
    mean = before + wrapped_rad(after - before) / 2.0
    away = turned[2 * apart : -2 * apart] - mean
    low = high = size[: -5 * apart]
    for place in range(1, 6):
        one = size[place * apart : len(size) - (5 - place) * apart]
        low, high = np.minimum(low, one), np.maximum(high, one)
    floor = 10.0 ** (-STEADY_DB / 20.0)
    steady = (low >= floor * np.maximum(high, usual)) & (low > 0.0)
    return np.asarray(wrapped_rad(away), np.float64), steady


def wrapped_rad(angle_rad: NDArray[np.floating]) -> NDArray[np.floating]:
    """The same angle between -pi and pi."""
    turn = angle_rad.dtype.type(2.0 * np.pi)
    return np.asarray(angle_rad - turn * np.rint(angle_rad / turn))
