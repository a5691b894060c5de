"""Hum beneath line-up tones and in the pauses between them, where a capture has nothing quieter."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.signal import get_window

from fluxbench.captures._again import frequency_hz
from fluxbench.captures._nominal import nominal_hz
from fluxbench.captures._results import CaptureReading, MeasuredSection
from fluxbench.captures._sections import Kind
from fluxbench.captures._source import Source
from fluxbench.trade import HUM_HZ

F64 = NDArray[np.float64]

_LOOKED_AT_S = 2.0
_LEAST_S = 0.35
_MARGIN_S = 0.06
_LOWEST_TONE_HZ = 245.0
_LOWEST_HZ, _HIGHEST_HZ = 20.0, 220.0
_OFF = 0.01
"""Mains, tape and clock together move a line by no more."""

_LOBE = 3
"""Lines on either side that hold a sine under the window of Blackman and Harris."""

_STANDS_OUT = 10.0
"""Power over that of the noise around; our choice."""


def hum_beneath(reading: CaptureReading) -> tuple[F64, F64]:
    """Frequency in Hz and level in dBFS of the strongest mains line of every track.

    The median of all line-up tones above 245 Hz and of the pauses between tones, so that neither
    an echo nor a bass note is hum. NaN where no line stands out of the noise in half of them.
    """
    tracks = len(reading.tracks)
    found: list[F64] = []
    with Source(reading.path, reading.header, reading.tracks) as source:
        for first, last in _places(reading.sections, reading.header.rate_hz):
            blocks = [block.copy() for block in source.blocks(first, last)]
            found.append(_lines(np.nan_to_num(np.concatenate(blocks)), reading.header.rate_hz))
    if not found:
        return np.full(tracks, np.nan), np.full(tracks, np.nan)
    power = np.median(np.stack(found), axis=0)
    strongest = np.argmax(power, axis=0)
    top = power[strongest, np.arange(tracks)]
    heard = top > 0.0
    level_dbfs = 10.0 * np.log10(np.where(heard, top, 1.0))
    line_hz = np.array(HUM_HZ)[strongest]
    return np.where(heard, line_hz, np.nan), np.where(heard, level_dbfs, np.nan)


def _places(sections: Sequence[MeasuredSection], rate_hz: int) -> Iterator[tuple[int, int]]:
    """First and last frame of what is looked at: the middle of each section."""
    tones = [s for s in sections if s.kind is Kind.TONE and _is_line_up(s)]
    if not tones:
        return
    until_s = tones[-1].end_s + _LOOKED_AT_S
    pauses = [s for s in sections if s.kind is Kind.NOISE and s.start_s < until_s]
    high = [s for s in tones if frequency_hz(s) > _LOWEST_TONE_HZ]
    for section in [*high, *pauses]:
        spare_s = section.end_s - section.start_s - 2.0 * _MARGIN_S
        if spare_s >= _LEAST_S:
            frames = round(min(spare_s, _LOOKED_AT_S) * rate_hz)
            middle = round(0.5 * (section.start_s + section.end_s) * rate_hz)
            first = max(middle - frames // 2, 0)
            yield first, first + frames


def _is_line_up(section: MeasuredSection) -> bool:
    length_s = section.end_s - section.start_s
    return nominal_hz(frequency_hz(section)) is not None and length_s >= _LOOKED_AT_S


def _lines(samples: NDArray[np.float32], rate_hz: int) -> F64:
    """Power of each line of `HUM_HZ` on each track, (lines, tracks), a full-scale sine being 1.

    0 where it does not stand out.
    """
    frames = len(samples)
    window = get_window("blackmanharris", frames).astype(np.float32)
    scale = 4.0 / (frames * float(np.sum(window**2)))
    reach = int(np.ceil(_HIGHEST_HZ * frames / rate_hz)) + 2 * _LOBE
    squares = np.stack(
        [np.abs(fft.rfft(track * window)[:reach].astype(np.complex128)) ** 2 for track in samples.T]
    ).T
    lowest = int(_LOWEST_HZ * frames / rate_hz)
    noise = np.median(squares[lowest:], axis=0) / np.log(2.0) * (2 * _LOBE + 1)
    power = np.zeros((len(HUM_HZ), samples.shape[1]))
    for row, hz in enumerate(HUM_HZ):
        first = int(np.floor(hz * (1.0 - _OFF) * frames / rate_hz))
        last = int(np.ceil(hz * (1.0 + _OFF) * frames / rate_hz))
        tops = first + np.argmax(squares[first : last + 1], axis=0)
        for track, top in enumerate(tops):
            held = float(squares[max(top - _LOBE, 0) : top + _LOBE + 1, track].sum())
            if held > _STANDS_OUT * noise[track]:
                power[row, track] = scale * held
    return power
