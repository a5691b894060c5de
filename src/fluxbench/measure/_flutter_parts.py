"""The flutter spectrum: lines that stand out, and the turning parts that they belong to."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

F64 = NDArray[np.float64]

_HARMONICS = (1, 2, 3)
_RATE_SEARCH = 0.05
_STANDS_OUT = 6.0
_NEAR_LINES = 50
_LEAST_OF_LARGEST = 0.03
_MOST = 12


@dataclass(frozen=True, slots=True)
class RotatingPart:
    """A part of the deck that turns, and how often it should at the speed in use."""

    name: str
    rate_hz: float


@dataclass(frozen=True, slots=True)
class FlutterComponent:
    """One line of the flutter spectrum, of the mean deviation of the valid tracks.

    `part` and `harmonic` say what it was matched to; "" and 0 if nothing expected turns so.
    """

    frequency_hz: float
    peak_percent: float
    part: str
    harmonic: int


@dataclass(frozen=True, slots=True)
class PartReading:
    """What was found of a rotating part; NaN for both if it does not stand out."""

    name: str
    expected_hz: float
    found_hz: float
    peak_percent: float


def components_of(
    deviation_percent: F64, rate_hz: float, parts: Sequence[RotatingPart]
) -> tuple[FlutterComponent, ...]:
    """Find the lines of the spectrum of a deviation, largest first, at most twelve.

    Parameters
    ----------
    deviation_percent
        Shape (points,), within the flutter band.
    rate_hz
        Points a second.
    parts
        What each line is compared with: a part, or its second or third harmonic, within 5 % or
        two lines of the spectrum.

    Notes
    -----
    A line is counted if it holds six times the power of the spectrum around it and is 3 % of the
    largest or more. Its size is the power of the five lines around it under a raised cosine.

    Examples
    --------
    >>> time_s = np.arange(16_000) / 1000
    >>> wave = 0.02 * np.sin(2 * np.pi * 12.1 * time_s) + 0.05 * np.sin(2 * np.pi * 2 * time_s)
    >>> noise = 1e-4 * np.random.default_rng(1).standard_normal(16_000)
    >>> capstan = RotatingPart("capstan", 12.1)
    >>> [(round(c.frequency_hz, 1), round(c.peak_percent, 3), c.part)
    ...  for c in components_of(wave + noise, 1000.0, [capstan])[:2]]
    [(2.0, 0.05, ''), (12.1, 0.02, 'capstan')]
    """
    points = len(deviation_percent)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(points) + 0.5) / points)
    lines = fft.rfft(window * (deviation_percent - deviation_percent.mean()))
    power = 2.0 * np.abs(lines) ** 2 / (points * np.sum(window**2))
    line_hz = rate_hz / points
    held = ndimage.uniform_filter1d(power, 5, mode="constant") * 5.0
    usual = ndimage.median_filter(power, 2 * _NEAR_LINES + 1, mode="nearest") / np.log(2.0)
    highest = ndimage.maximum_filter1d(power, 7, mode="constant") == power
    flutter_band = np.arange(len(power)) * line_hz >= 1.5 * line_hz
    found = highest & flutter_band & (held > _STANDS_OUT * 5.0 * usual) & (power > 0.0)
    if not found.any():
        return ()
    found &= held >= _LEAST_OF_LARGEST**2 * held[found].max()
    places = np.flatnonzero(found)
    places = places[np.argsort(-held[places])][:_MOST]
    return tuple(_component(power, int(place), line_hz, held[place], parts) for place in places)


def parts_of(
    components: Sequence[FlutterComponent], parts: Sequence[RotatingPart]
) -> tuple[PartReading, ...]:
    """What was found of each part at its own rate of turning."""
    found = []
    for part in parts:
        own = [c for c in components if c.part == part.name and c.harmonic == 1]
        best = max(own, key=lambda c: c.peak_percent, default=None)
        at_hz, peak_percent = (best.frequency_hz, best.peak_percent) if best else (np.nan, np.nan)
        found.append(PartReading(part.name, part.rate_hz, at_hz, peak_percent))
    return tuple(found)


def _component(
    power: F64, place: int, line_hz: float, held_power: float, parts: Sequence[RotatingPart]
) -> FlutterComponent:
    around = slice(max(place - 2, 0), place + 3)
    frequency_hz = float(np.average(np.arange(len(power))[around], weights=power[around])) * line_hz
    name, harmonic = _match(frequency_hz, line_hz, parts)
    return FlutterComponent(frequency_hz, float(np.sqrt(2.0 * held_power)), name, harmonic)


def _match(frequency_hz: float, line_hz: float, parts: Sequence[RotatingPart]) -> tuple[str, int]:
    candidates = [
        (abs(frequency_hz - order * part.rate_hz) / reach_hz, order, part.name)
        for part in parts
        for order in _HARMONICS
        if abs(frequency_hz - order * part.rate_hz)
        <= (reach_hz := max(_RATE_SEARCH * order * part.rate_hz, 2.0 * line_hz))
    ]
    if not candidates:
        return "", 0
    _, harmonic, name = min(candidates, key=lambda c: (c[1], c[0]))
    return name, harmonic
