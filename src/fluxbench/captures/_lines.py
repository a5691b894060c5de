"""The lines of a short stretch of a capture: one tone, or many at once."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.trade import MAINS_HZ

_STANDS_OUT = 30.0
"""Power over the median of the lines around."""

_AROUND_LINES = 60
_WEAKEST = 10.0**-4.0
"""Re the strongest line, as power."""

_APART_HZ = 5.0
_APART_RATIO = 0.004
_LOWEST_HZ = 12.0
_MOST = 64

_TONES_SHARE = 0.6
_SECOND_TONE = 10.0**-2.5
_BESIDE_HUM = 10.0**-1.5
"""Hum beside a tone is no second tone until it is this strong."""
_MAINS_ORDERS = 5
_MAINS_OFF_HZ = 0.5
_FLUTTER_HZ = 210.0
_LIKE = 4.0
_NEAR_FLUTTER = 0.1
_HARMONIC_RATIO = 0.005
_ORDERS = 10

_MAIN = 10.0**-3.0
"""Re the strongest line, as power: what was sent, and hardly any distortion of it."""

_BETWEEN = 10.0**-2.5
"""So far below both its neighbours, as power, a line is what the tape made of them."""

_PURE_SHARE = 0.99
_LEAST_SPAN = 4.0
_NEAR_DB = 10.0
_NEAR_SHARE = 0.6
_SMOOTH_DB = 2.0
_SMOOTH_LINES = 8
_DENSE = 0.6
_DOMINANT = 0.9
_RICH = 0.05
"""A tone whose even harmonics have more of its power is a note: tape distorts evenly."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines that stand out, rising in frequency, and their share of all power."""

    frequencies_hz: tuple[float, ...]
    power: tuple[float, ...]
    share: float

    @property
    def strongest_hz(self) -> float:
        """The frequency of the strongest; NaN if there is none."""
        if not self.power:
            return float("nan")
        return self.frequencies_hz[int(np.argmax(self.power))]

    @property
    def sent_hz(self) -> tuple[float, ...]:
        """Of a multitone: the lines without those 25 dB or more below both their neighbours.

        No response dips like that between tones; side lines of a level that sways do.
        """
        power = np.array([np.inf, *self.power, np.inf])
        beside = np.minimum(power[:-2], power[2:])
        beside[~np.isfinite(beside)] = 0.0
        return tuple(
            frequency_hz
            for frequency_hz, own, other in zip(
                self.frequencies_hz, self.power, beside, strict=True
            )
            if own > _BETWEEN * other
        )

    @property
    def several(self) -> bool:
        """Whether this is more than one tone, its harmonics and its flutter, and little else."""
        if self.share < _TONES_SHARE or len(self.power) < 2:
            return False
        strongest = self.strongest_hz
        top = max(self.power)
        return any(
            power > (_BESIDE_HUM if _of_mains(frequency_hz) else _SECOND_TONE) * top
            and not _harmonic(frequency_hz, strongest)
            and not self._is_side_line(frequency_hz, power)
            for frequency_hz, power in zip(self.frequencies_hz, self.power, strict=True)
            if frequency_hz != strongest
        )

    @property
    def sent_together(self) -> bool:
        """Whether several lines are a multitone, and not music.

        Two lines that hold all but a hundredth of the power; or more that span two octaves and lie
        at like levels, or run smoothly from line to line as a response does: of the strings of a
        chord and their overtones most are weak, and neighbours unlike. Lines that are nearly all
        multiples of the lowest are one voice. Limits are our choice.
        """
        if not self.several:
            return False
        strongest_two = sum(sorted(self.power)[-2:])
        if strongest_two > _PURE_SHARE * sum(self.power):
            return True
        power = np.array(self.power)
        main = power > _MAIN * power.max()
        frequencies_hz = np.array(self.frequencies_hz)[main]
        levels_db = 10.0 * np.log10(power[main] / power.max())
        orders = frequencies_hz / frequencies_hz[0]
        if orders[-1] < _LEAST_SPAN:
            return False
        off = np.abs(orders - np.rint(orders))
        one_voice = bool(np.all(off < _HARMONIC_RATIO * orders)) and len(orders) > (
            _DENSE * float(orders[-1])
        )
        like = float(np.mean(levels_db > -_NEAR_DB)) > _NEAR_SHARE
        steps_db = np.abs(np.diff(levels_db))
        smooth = len(orders) >= _SMOOTH_LINES and np.quantile(steps_db, 0.9) < _SMOOTH_DB
        return (like or bool(smooth)) and not one_voice

    @property
    def is_note(self) -> bool:
        """Whether the strongest line has overtones as an instrument has, and a tone has not."""
        strongest_hz, top = self.strongest_hz, max(self.power, default=0.0)
        even = sum(
            power
            for frequency_hz, power in zip(self.frequencies_hz, self.power, strict=True)
            if _harmonic(frequency_hz, strongest_hz) and round(frequency_hz / strongest_hz) % 2 == 0
        )
        return even > _RICH * top

    @property
    def is_tone(self) -> bool:
        """Whether the strongest line, its harmonics and its flutter are nearly all there is."""
        own = sum(
            power
            for frequency_hz, power in zip(self.frequencies_hz, self.power, strict=True)
            if _harmonic(frequency_hz, self.strongest_hz) or self._is_side_line(frequency_hz, power)
        )
        return own > _DOMINANT * sum(self.power)

    def _is_side_line(self, frequency_hz: float, power: float) -> bool:
        """Flutter puts lines close to a tone, or of like power at equal distances on both sides."""
        off_hz = frequency_hz - self.strongest_hz
        if abs(off_hz) < max(
            3.0 * max(_APART_HZ, _APART_RATIO * self.strongest_hz),
            min(_FLUTTER_HZ, _NEAR_FLUTTER * self.strongest_hz),
        ):
            return True
        if abs(off_hz) > _FLUTTER_HZ:
            return False
        return any(
            abs(other_hz - self.strongest_hz + off_hz) < 0.5 * _APART_HZ
            and 1.0 / _LIKE < other / power < _LIKE
            for other_hz, other in zip(self.frequencies_hz, self.power, strict=True)
        )


def _of_mains(frequency_hz: float) -> bool:
    return any(
        1 <= round(frequency_hz / hz) <= _MAINS_ORDERS
        and abs(frequency_hz - hz * round(frequency_hz / hz)) < _MAINS_OFF_HZ
        for hz in MAINS_HZ
    )


def _harmonic(frequency_hz: float, fundamental_hz: float) -> bool:
    order = round(frequency_hz / fundamental_hz)
    off = abs(frequency_hz / fundamental_hz - order)
    return 2 <= order <= _ORDERS and off < _HARMONIC_RATIO * order


def lines_of(sums: NDArray[np.float32], rate_hz: float) -> Lines:
    """Find the lines in sums of all tracks, (frames, sums); a second or more.

    The window is Blackman and Harris's of four terms (1978, from memory): 92 dB between lines.
    """
    frames = len(sums)
    length = int(fft.next_fast_len(frames, real=True))
    spectra = fft.rfft(sums * _window(frames)[:, None], length, axis=0)
    power = (np.abs(spectra) ** 2).sum(axis=1).astype(np.float64)
    line_hz = rate_hz / length
    power[: int(np.ceil(_LOWEST_HZ / line_hz))] = 0.0
    total = float(power.sum())
    if not total > 0.0:
        return Lines((), (), 0.0)
    return _found(power, line_hz, length / frames, total)


@lru_cache(maxsize=2)
def _window(frames: int) -> NDArray[np.float32]:
    """Shape (frames,); not to be written to."""
    turn = 2.0 * np.pi * (np.arange(frames) + 0.5) / frames
    terms = (0.35875, -0.48829, 0.14128, -0.01168)
    window = np.sum([a * np.cos(k * turn) for k, a in enumerate(terms)], axis=0)
    return np.asarray(window, np.float32)


def _found(power: NDArray[np.float64], line_hz: float, stretch: float, total: float) -> Lines:
    floor = _floor(power)
    top = np.zeros(len(power), bool)
    top[1:-1] = (power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])
    candidates = np.flatnonzero(top & (power > _STANDS_OUT * floor))
    taken = np.zeros(len(power), bool)
    found: list[tuple[float, float]] = []
    for line in candidates[np.argsort(-power[candidates])][:2000]:
        if taken[line] or len(found) == _MOST:
            continue
        near_hz = max(_APART_HZ, _APART_RATIO * line * line_hz, 4.0 * stretch * line_hz)
        reach = int(np.ceil(near_hz / line_hz))
        inside = slice(max(line - reach, 0), line + reach + 1)
        fresh = np.where(taken[inside], 0.0, power[inside])
        held = float(fresh.sum())
        if found and held < _WEAKEST * found[0][1]:
            break
        places = np.arange(inside.start, inside.start + len(fresh))
        found.append((float(fresh @ places) / held * line_hz, held))
        taken[inside] = True
    found.sort()
    held_by_all = sum(power for _, power in found)
    return Lines(
        tuple(frequency_hz for frequency_hz, _ in found),
        tuple(power for _, power in found),
        held_by_all / total,
    )


def _floor(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of stretches of lines, straight between their middles."""
    width = 2 * _AROUND_LINES
    pieces = max(len(power) // width, 1)
    medians = np.median(power[: pieces * (len(power) // pieces)].reshape(pieces, -1), axis=1)
    middles = (np.arange(pieces) + 0.5) * (len(power) // pieces)
    return np.asarray(np.interp(np.arange(len(power)), middles, medians))
