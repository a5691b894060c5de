"""Many tones at once: the response of every track from one short take."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import envelope_of, half_band_hz, locate
from fluxbench.measure._spectrum import Band, Samples, band_tone, bands, checked
from fluxbench.measure._tone import dbfs, level_error_db
from fluxbench.measure._validity import SHORTEST_PERIODS, downgraded, usable, waveform_validity

_LEAST_GAP_HZ = 5.0
_GAP_PERIODS = 10.0
_PART_OF_GAP = 0.3

SPEED_SEARCH = 0.02
"""All tones together may lie this far off."""


@dataclass(frozen=True, slots=True)
class ResponseReading:
    """Level of every tone on every track; arrays have shape (tones, tracks), NaN if not valid.

    Levels re full scale. `speed_ratio` is how much higher than asked the tones were found.
    """

    frequencies_hz: NDArray[np.float64]
    speed_ratio: float
    level_dbfs: NDArray[np.float64]
    standard_error_db: NDArray[np.float64]
    validity: tuple[tuple[Validity, ...], ...]


def multitone_levels(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> ResponseReading:
    """Measure the level of each of several simultaneous tones on every track.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; 2 s after settling.
    rate_hz
        Sample rate in Hz.
    frequencies_hz
        The tones that were sent, rising, at least 5 Hz apart; all may lie 2 % off together.

    Returns
    -------
    ResponseReading
        A tone that does not stand out of the noise is `NO_SIGNAL`; samples shorter than 10
        periods of the smallest gap are `TOO_SHORT`.

    Raises
    ------
    MisuseError
        Wrong shape, a frequency not between 0 and half the rate, or tones not rising by 5 Hz.

    Notes
    -----
    Band power as for a single tone, within the larger of 20 Hz and 1.5 %, but at most 0.3 of the
    gap to the nearer neighbour; the noise is read from there to the middle of the gap. A
    raised-cosine window keeps neighbours apart. The error is the larger of the scatter between
    blocks and what the noise must give.

    Examples
    --------
    >>> time_s = np.arange(96_000) / 48_000
    >>> wave = 0.03 * np.sin(2 * np.pi * 65 * time_s) + 0.01 * np.sin(2 * np.pi * 1005 * time_s)
    >>> reading = multitone_levels(wave[:, None], 48_000, [65.0, 1005.0])
    >>> [round(float(level), 3) for level in reading.level_dbfs[:, 0]]
    [-30.458, -40.0]
    """
    sent_hz = np.asarray(frequencies_hz, np.float64)
    if len(sent_hz) == 0 or np.any(np.diff(sent_hz) < _LEAST_GAP_HZ):
        raise MisuseError(
            f"tones of a multitone must rise by at least {_LEAST_GAP_HZ:g} Hz: drop or move some"
        )
    samples = checked(samples, rate_hz, *map(float, sent_hz))
    gaps_hz = np.minimum(np.diff(sent_hz, prepend=-np.inf), np.diff(sent_hz, append=np.inf))
    waveform = _waveform(samples, rate_hz, sent_hz, float(gaps_hz.min()))
    samples = usable(samples, rate_hz, waveform)
    wide_hz = np.array([half_band_hz(f) for f in sent_hz])
    halves_hz = np.minimum(wide_hz, _PART_OF_GAP * gaps_hz)
    reaches_hz = np.minimum(3.0 * halves_hz, 0.5 * gaps_hz)
    edges_hz = zip(
        *(sent_hz * (1.0 + s * SPEED_SEARCH) + s * reaches_hz for s in (-1, 1)), strict=True
    )
    cuts = bands(samples, rate_hz, 0.5 * len(samples) / rate_hz, list(edges_hz))
    ratio = _speed_ratio(cuts, sent_hz, halves_hz, gaps_hz)
    levels_dbfs, errors_db, validity = [], [], []
    for band, f, half_hz, reach_hz in zip(cuts, sent_hz, halves_hz, reaches_hz, strict=True):
        inside = band_tone(band, ratio * f, half_hz, reach_hz)
        told = downgraded(waveform, inside.heard, Validity.NO_SIGNAL)
        ok = np.array([v is Validity.OK for v in told], bool)
        error_db = level_error_db(inside, envelope_of(band, ratio * f, half_hz))
        levels_dbfs.append(np.where(ok, dbfs(inside.power), np.nan))
        errors_db.append(np.where(ok, error_db, np.nan))
        validity.append(told)
    return ResponseReading(
        sent_hz, ratio, np.array(levels_dbfs), np.array(errors_db), tuple(validity)
    )


def _waveform(
    samples: Samples, rate_hz: float, sent_hz: NDArray[np.float64], least_gap_hz: float
) -> tuple[Validity, ...]:
    typical_hz = float(np.sqrt(np.mean(sent_hz**2)))
    validity = waveform_validity(samples, rate_hz, typical_hz)
    if len(samples) / rate_hz >= max(_GAP_PERIODS / least_gap_hz, SHORTEST_PERIODS / sent_hz[0]):
        return validity
    return downgraded(validity, np.zeros(len(validity), bool), Validity.TOO_SHORT)


def _speed_ratio(
    cuts: list[Band],
    sent_hz: NDArray[np.float64],
    halves_hz: NDArray[np.float64],
    gaps_hz: NDArray[np.float64],
) -> float:
    """Median of found over sent frequency, tones weighted by frequency: short waves tell more."""
    search_hz = np.minimum(SPEED_SEARCH * sent_hz, 0.5 * gaps_hz)
    found_hz = np.array(
        [locate(*each) for each in zip(cuts, sent_hz, search_hz, halves_hz, strict=True)]
    )
    ratios = found_hz / sent_hz
    order = np.argsort(ratios)
    share = np.cumsum(sent_hz[order]) / np.sum(sent_hz)
    return float(ratios[order][np.searchsorted(share, 0.5)])
