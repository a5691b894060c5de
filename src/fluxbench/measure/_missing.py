"""Frames that are missing in a tone on file: its phase jumps, on all tracks in the same moment."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure._slips import (
    BESIDE_DB,
    MOST_TRACKS,
    QUIETEST_DBFS,
    TIMES,
    WINDOW_PERIODS,
    WINDOW_S,
    bends,
    turned_back,
    wrapped_rad,
)

LOWEST_HZ = 300.0
"""Below it a jump cannot be told from flutter within what neighbouring blocks share."""
LEAST_DEG = 6.0
"""More than live: a file has been edited, and is not played again."""
_POINTS = 4
"""Of every window."""
_REACH = 5
"""A jump must still be there so many windows later."""
_AGREE = 0.4
"""What is left of a jump may differ from it by this part."""
_MOST_PLACES = 20
"""Of a block that are looked at closely; a tone with more is something else."""

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


class MissingFrames:
    """Looks for a phase that jumps and stays where it jumped to, block by block of a file.

    Parameters
    ----------
    rate_hz, frequency_hz
        Sample rate, and where the tone is, within 1 %.
    first_s
        When the first frame was.

    Notes
    -----
    The bend of the phase is that of `SlipDetector`, which watches the same live. A file can be
    looked at twice: around a bend that stands out of the usual one, on every track that carries
    the tone steadily there, a cubic with a kink (a change of speed) and a step is fitted to the
    phase (least squares) from five windows before to five after, without the middle. A click is
    gone by then; the step that missing frames leave is not, and it is the same on all tracks. The
    limits are our choice.

    Examples
    --------
    Twelve frames of 1 kHz at 48 kHz are a quarter of a turn.

    >>> sine = np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000).astype(np.float32)
    >>> cut = np.delete(sine, slice(24_000, 24_012))
    >>> missing = MissingFrames(48_000, 1000.0)
    >>> missing.look(cut[None, :], np.ones(1), 0)
    >>> [round(at_s, 3) for at_s in missing.at_s]
    [0.5]
    """

    def __init__(self, rate_hz: float, frequency_hz: float, first_s: float = 0.0) -> None:
        self._rate_hz, self._frequency_hz, self._first_s = rate_hz, frequency_hz, first_s
        window_s = max(WINDOW_S, WINDOW_PERIODS / frequency_hz)
        self._step = int(np.ceil(window_s * rate_hz / _POINTS))
        span = _POINTS * self._step
        self._window = turned_back(span, frequency_hz / rate_hz)
        away = np.arange(-_REACH * _POINTS, _REACH * _POINTS + 1)
        self._away = away[np.abs(away) > _POINTS // 2 + 1]
        place = self._away / away[-1]
        terms = [*(place**n for n in range(4)), np.abs(place), np.sign(place) / 2.0]
        self._step_of: F64 = np.linalg.pinv(np.stack(terms, axis=1))[-1]
        self.at_s: list[float] = []
        """Where frames are missing, in s from the first frame; in order."""

    def look(self, samples: F32, strength: F64, first_frame: int) -> None:
        """Look at a block, shape (tracks, frames), with the power of the tone on every track."""
        if self._frequency_hz < LOWEST_HZ or samples.shape[1] < 4 * _REACH * len(self._window):
            return
        order = np.argsort(-strength, kind="stable")[:MOST_TRACKS]
        least = max(strength.max() * 10.0 ** (-BESIDE_DB / 10.0), 1e-30)
        tracks = order[strength[order] >= least]
        if not len(tracks):
            return
        points = self._points(samples[tracks])
        size = np.abs(points)
        usual = np.median(size, axis=0)
        heard = usual > 10.0 ** (QUIETEST_DBFS / 20.0)
        if not heard.any():
            return
        self._jumps(points[:, heard], size[:, heard], usual[heard], first_frame)

    def _points(self, tracks: F32) -> NDArray[np.complex64]:
        """Windowed phases re the tone's clock, shape (points, tracks)."""
        span = len(self._window)
        pieces = np.lib.stride_tricks.sliding_window_view(tracks, span, axis=1)[:, :: self._step]
        found = np.stack([(piece @ self._window).view(np.complex64)[:, 0] for piece in pieces])
        turns = self._frequency_hz / self._rate_hz * self._step * np.arange(found.shape[1])
        return np.asarray(found * np.exp(-2j * np.pi * (turns % 1.0)), np.complex64).T

    def _jumps(
        self, points: NDArray[np.complex64], size: F32, usual: F32, first_frame: int
    ) -> None:
        phase = np.angle(points)
        bend, steady = bends(phase, size, usual, _POINTS)
        limit = np.maximum(np.radians(LEAST_DEG), TIMES * np.median(np.abs(bend), axis=0))
        over = ((np.abs(bend) > limit) | ~steady).all(axis=1)
        over &= steady.sum(axis=1) * 2 >= steady.shape[1]
        places = np.flatnonzero(over)
        if not len(places):
            return
        runs = np.split(places, np.flatnonzero(np.diff(places) > 2 * _POINTS) + 1)
        for run in runs[:_MOST_PLACES]:
            row = int(run[np.argmax(np.abs(bend[run] * steady[run]).max(axis=1))])
            middle = row + 2 * _POINTS + _POINTS // 2
            if self._stays(phase[:, steady[row]], bend[row, steady[row]], middle):
                frames = first_frame + middle * self._step + len(self._window) / 2
                self._found(self._first_s + frames / self._rate_hz)

    def _stays(self, phase: F32, bend: F64, middle: int) -> bool:
        """Whether the phase is still where it jumped to, and by the same on every track."""
        around = middle + self._away
        if around[0] < 0 or around[-1] >= len(phase):
            return False  # too near to an end; the next block sees it if there is one
        unwrapped = np.unwrap(phase[around], axis=0)
        step = self._step_of @ unwrapped
        same = np.abs(wrapped_rad(step - step[0])) <= _AGREE * np.abs(bend)
        left = np.abs(wrapped_rad(step - bend)) <= _AGREE * np.abs(bend)
        return bool((same & left).all())

    def _found(self, at_s: float) -> None:
        if not self.at_s or at_s - self.at_s[-1] > 2.0 * len(self._window) / self._rate_hz:
            self.at_s.append(at_s)
