"""A stretch of the return kept whole, and what is measured on it that envelopes do not hold."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import hear
from fluxbench.measure._harmonics import harmonics_of
from fluxbench.measure._noise import noise
from fluxbench.measure._tone import tone_reading
from fluxbench.measure._tone_stream import take_tone
from fluxbench.measure._unwanted import RelativeReading, crosstalk, remains

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

KINDS = ("noise", "harmonics", "crosstalk", "flutter", "remains")
_NAMES = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """A stretch to be measured: `number` tells it from others.

    `frequency_hz` is that of the tone, if there is one; `driven_track` (from 1) carries it when
    crosstalk is measured.
    """

    number: int
    kind: str
    seconds: float
    frequency_hz: float = 0.0
    driven_track: int = 1


@dataclass(frozen=True, slots=True)
class Measured:
    """What a stretch gave: arrays of one number a track by name, NaN where `validity` is not OK.

    noise: `unweighted_dbfs`, `a_weighted_dbfs`, `bs468_dbfs` and their `_standard_error_db`,
    `hum_dbfs` (all lines together, NaN if none stands out). harmonics: `second_percent` to
    `fifth_percent` with `_standard_error_percent` and `_limit_percent`, under which it lies where
    it does not stand out of the noise, `total_percent`, and the tone's own `fundamental_dbfs`.
    crosstalk: `level_db` re the driven track, `standard_error_db`, `limit_db`. remains: the same of
    what is left of the tone, re full scale. flutter:
    `weighted_2_sigma_percent` with its `_standard_error_percent`, `weighted_quasi_peak_percent`,
    `unweighted_percent`.
    """

    number: int
    kind: str
    values: Mapping[str, F64]
    validity: tuple[Validity, ...]


def measured(wanted: Wanted, samples: F32, rate_hz: float, *, lost: bool) -> Measured:
    """Measure a stretch, shape (frames, tracks), full scale 1.

    Where frames were `lost` every track is `GAP`. MisuseError for a kind that there is not.

    Examples
    --------
    >>> angle = 2 * np.pi * 1000 * np.arange(96_000) / 48_000
    >>> wave = (0.1 * np.sin(angle) + 0.001 * np.sin(3 * angle))[:, None].astype(np.float32)
    >>> wave += 1e-5 * np.random.default_rng(1).standard_normal(wave.shape, np.float32)
    >>> of = measured(Wanted(1, "harmonics", 2.0, 1000.0), wave, 48_000, lost=False)
    >>> round(float(of.values["third_percent"][0]), 2)
    1.0
    """
    if wanted.kind not in KINDS:
        raise MisuseError(f"a stretch is measured for {', '.join(KINDS)}, not for {wanted.kind!r}")
    work = (_noise, _harmonics, _crosstalk, _flutter, _remains)
    values, validity = work[KINDS.index(wanted.kind)](wanted, samples, rate_hz)
    if lost:
        validity = (Validity.GAP,) * len(validity)
        values = {name: np.full(len(validity), np.nan) for name in values}
    return Measured(wanted.number, wanted.kind, values, validity)


Found = tuple[dict[str, F64], tuple[Validity, ...]]


def _noise(_wanted: Wanted, samples: F32, rate_hz: float) -> Found:
    read = noise(samples, rate_hz)
    hum = [
        10.0 * np.log10(sum(10.0 ** (line.level_dbfs / 10.0) for line in lines))
        if lines
        else np.nan
        for lines in read.hum
    ]
    return {
        "unweighted_dbfs": read.unweighted_dbfs,
        "unweighted_standard_error_db": read.unweighted_standard_error_db,
        "a_weighted_dbfs": read.a_weighted_dbfs,
        "a_weighted_standard_error_db": read.a_weighted_standard_error_db,
        "bs468_dbfs": read.bs468_dbfs,
        "bs468_standard_error_db": read.bs468_standard_error_db,
        "hum_dbfs": np.array(hum, np.float64),
    }, read.validity


def _harmonics(wanted: Wanted, samples: F32, rate_hz: float) -> Found:
    tone = hear(samples, rate_hz, wanted.frequency_hz)
    read = harmonics_of(tone)
    values: dict[str, F64] = {}
    for row, order in enumerate(read.orders):
        values[f"{_NAMES[order]}_percent"] = read.percent[row]
        values[f"{_NAMES[order]}_standard_error_percent"] = read.standard_error_percent[row]
        values[f"{_NAMES[order]}_limit_percent"] = read.limit_percent[row]
    values["total_percent"] = read.total_percent
    values["fundamental_dbfs"] = tone_reading(tone).level_dbfs
    return values, read.validity[read.orders.index(3)]


def _crosstalk(wanted: Wanted, samples: F32, rate_hz: float) -> Found:
    return _relative(crosstalk(samples, rate_hz, wanted.frequency_hz, wanted.driven_track))


def _remains(wanted: Wanted, samples: F32, rate_hz: float) -> Found:
    full_scale = np.zeros((1, samples.shape[1]))
    (read,) = remains(samples, rate_hz, [wanted.frequency_hz], full_scale)
    return _relative(read)


def _relative(read: RelativeReading) -> Found:
    return {
        "level_db": read.level_db,
        "standard_error_db": read.standard_error_db,
        "limit_db": read.limit_db,
    }, read.validity


def _flutter(wanted: Wanted, samples: F32, rate_hz: float) -> Found:
    take = take_tone(samples, rate_hz, wanted.frequency_hz, with_flutter=True)
    names = (
        "weighted_2_sigma_percent",
        "weighted_2_sigma_standard_error_percent",
        "weighted_quasi_peak_percent",
        "unweighted_percent",
    )
    if take.flutter is None:
        tracks = samples.shape[1]
        return dict.fromkeys(names, np.full(tracks, np.nan)), (Validity.TOO_SHORT,) * tracks
    return {name: getattr(take.flutter, name) for name in names}, take.flutter.validity
