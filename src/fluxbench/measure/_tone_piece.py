"""One piece of a tone, worked out from the envelopes of the tone and its harmonics."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure._azimuth import DelaysReading, delays_of
from fluxbench.measure._blocks import EnvelopeCut
from fluxbench.measure._drop_outs import LOWEST_HZ, DropOut, drop_outs_of, without_ringing
from fluxbench.measure._flutter import FlutterReading, flutter_of
from fluxbench.measure._flutter_parts import RotatingPart
from fluxbench.measure._frequency import HeardTone, half_band_hz, hear, heard_in
from fluxbench.measure._harmonics import HarmonicsReading, harmonics_of
from fluxbench.measure._spectrum import Band, Samples, taper_power, taper_seconds
from fluxbench.measure._tone import ToneReading, tone_reading

_TOGETHER = 4
_ALONG_S = 1.0
_SPARSE = 16
_WEAK = 0.1

Envelopes = NDArray[np.complex64]
F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ToneTake:
    """Everything measured on a tone; times are from the first frame that was added.

    `flutter` is None unless it was asked for. `level_along_dbfs` (points, tracks) is the level
    along the reel, at `along_s`, one a second. `missing_s` tells where frames are missing: then no
    number beside it can be trusted.
    """

    tone: ToneReading
    harmonics: HarmonicsReading
    delays: DelaysReading
    drop_outs: tuple[tuple[DropOut, ...], ...]
    along_s: F64
    level_along_dbfs: F64
    flutter: FlutterReading | None
    missing_s: tuple[float, ...] = ()


def short_take(
    samples: Samples, rate_hz: float, frequency_hz: float, positions_mm: Sequence[float]
) -> ToneTake:
    """A take too short for blocks: no drop-outs, no flutter, no level along the reel."""
    tone = hear(samples, rate_hz, frequency_hz)
    tracks = samples.shape[1]
    return ToneTake(
        tone_reading(tone),
        harmonics_of(tone),
        delays_of(tone, positions_mm),
        ((),) * tracks,
        np.zeros(0),
        np.zeros((0, tracks)),
        None,
    )


@dataclass(frozen=True, slots=True)
class Piece:
    """Envelopes (tracks, points) of the tone and of its harmonics over the same time.

    `after` is some of what follows, for a drop-out that the end would cut in two.
    """

    cuts: Sequence[EnvelopeCut]
    envelopes: Sequence[Envelopes]
    after: Envelopes
    first_s: float
    frequency_hz: float
    rate_hz: float
    told: tuple[Validity, ...]
    peak: F64
    """Greatest sample of each track."""
    goes_on: bool = False
    """Another piece came before."""


def work_out(
    piece: Piece,
    positions_mm: Sequence[float],
    search_hz: float,
    parts: Sequence[RotatingPart] | None,
) -> ToneTake:
    """Work out all readings of a piece; flutter if parts (or an empty tuple) are given."""
    cut, envelope = piece.cuts[0], piece.envelopes[0]
    duration_s = envelope.shape[1] / cut.rate_hz
    taper_s = taper_seconds(half_band_hz(piece.frequency_hz), duration_s)
    heard = [band_of(*each, taper_s) for each in zip(piece.cuts, piece.envelopes, strict=True)]
    tone = heard_in(
        heard, piece.told, piece.frequency_hz, piece.rate_hz, duration_s, search_hz, piece.peak
    )
    reading = tone_reading(tone)
    power = _power(np.concatenate([envelope, piece.after], axis=1))
    points = envelope.shape[1]
    noise_power = 2.0 * tone.inside.noise_per_hz * 2.0 * cut.half_hz
    along_s, along_dbfs = _along(power[:, :points], cut.rate_hz, noise_power, tone)
    return ToneTake(
        reading,
        harmonics_of(tone),
        delays_of(tone, positions_mm),
        _drop_outs(power, points, piece, tone),
        piece.first_s + along_s,
        along_dbfs,
        None if parts is None else _flutter(piece, power[:, :points], reading, parts),
    )


def band_of(cut: EnvelopeCut, envelope: Envelopes, taper_s: float) -> Band:
    """The lines of a tapered envelope (tracks, points), as of the spectrum it was cut out of."""
    points, rate_hz = envelope.shape[1], cut.rate_hz
    time_s = (0.5 + np.arange(points, dtype=np.float64)) / rate_hz
    window = np.sqrt(taper_power(time_s, points / rate_hz, taper_s))
    squared = float(window @ window)
    fold = int(fft.next_fast_len(-(-points // cut.points)))
    length = cut.points * fold
    line_hz = rate_hz / length
    reach = min(int(cut.half_hz / line_hz), length // 2 - 1)
    middle = cut.middle * fold
    first = max(middle - reach, 1)
    lines = np.empty((len(envelope), middle + reach + 1 - first), np.complex64)
    scale = 1.0 / np.sqrt(2.0 * length * squared)
    shape = (window * scale).astype(np.float32)
    for some in range(0, len(envelope), _TOGETHER):
        spectra = fft.fft(envelope[some : some + _TOGETHER] * shape, length, axis=1)
        below = max(middle - first, 0)
        into = lines[some : some + _TOGETHER]
        into[:, :below] = spectra[:, length - below :]
        into[:, below:] = spectra[:, max(first - middle, 0) : reach + 1]
    return Band(
        lines=lines.T,
        first_line=first,
        line_hz=line_hz,
        frames=points,
        rate_hz=rate_hz,
        taper_s=taper_s,
        fill=squared / length,
        effective_s=squared**2 / float(np.sum(window**4)) / rate_hz,
    )


def _power(envelope: Envelopes) -> NDArray[np.float32]:
    return np.asarray(envelope.real**2 + envelope.imag**2)


def _along(
    power: NDArray[np.float32], rate_hz: float, noise_power: F64, tone: HeardTone
) -> tuple[F64, F64]:
    """Level of every second, (points, tracks), NaN on tracks that are not valid."""
    length = max(round(_ALONG_S * rate_hz), 1)
    seconds = power.shape[1] // length
    means = power[:, : seconds * length].reshape(len(power), seconds, length).mean(axis=2)
    level = 10.0 * np.log10(np.maximum(means.T - noise_power, 1e-20))
    return (np.arange(seconds) + 0.5) * length / rate_hz, np.where(tone.valid, level, np.nan)


def _drop_outs(
    power: NDArray[np.float32], points: int, piece: Piece, tone: HeardTone
) -> tuple[tuple[DropOut, ...], ...]:
    """Those that begin in the piece; one that begins with it began in the piece before."""
    cut = piece.cuts[0]
    if piece.frequency_hz < LOWEST_HZ:
        return ((),) * len(power)
    noise_ratio = (
        tone.inside.noise_per_hz * 2.0 * cut.half_hz / np.maximum(tone.inside.power, 1e-30)
    )
    noise_ratio = np.minimum(noise_ratio, _scatter_ratio(power))
    noise_ratio = np.where(tone.valid, noise_ratio, np.inf)
    span = int(piece.goes_on), points
    found = list(drop_outs_of(power, cut.rate_hz, piece.first_s, noise_ratio, *span))
    for track, drops in enumerate(found):
        if drops:  # as the sharp band shows them, too deep; read again
            envelope = np.concatenate([piece.envelopes[0][track], piece.after[track]])
            smooth = without_ringing(envelope, cut.rate_hz, cut.half_hz)[None, :]
            ratio = noise_ratio[track : track + 1]
            (found[track],) = drop_outs_of(
                smooth, cut.rate_hz, piece.first_s, ratio, *span, average_s=0.0
            )
    return tuple(found)


def _scatter_ratio(power: NDArray[np.float32]) -> F64:
    """Noise over tone, as powers, from how the power usually scatters about its median.

    Drop-outs swell the noise beside a tone, which must not hide them. For noise that is weak the
    power scatters by sqrt(2 noise / tone); 1.4826 times the median deviation is its sd.
    """
    some = power[:, ::_SPARSE]
    middle = np.maximum(np.median(some, axis=1, keepdims=True), 1e-30)
    deviation = np.median(np.abs(some / middle - 1.0), axis=1)
    return np.asarray(0.5 * (1.4826 * deviation) ** 2, np.float64)


def _flutter(
    piece: Piece,
    power: NDArray[np.float32],
    reading: ToneReading,
    parts: Sequence[RotatingPart],
) -> FlutterReading:
    """Flutter of a piece from the turning of its envelope; where the tone is weak it is bridged."""
    cut, envelope = piece.cuts[0], piece.envelopes[0]
    offset_hz = np.angle(envelope[:, 1:] * np.conj(envelope[:, :-1]))
    offset_hz *= cut.rate_hz / (2.0 * np.pi)
    weak = power[:, 1:] < _WEAK * np.median(power, axis=1, keepdims=True)
    for track in np.flatnonzero(weak.any(axis=1) & ~weak.all(axis=1)):
        good = np.flatnonzero(~weak[track])
        offset_hz[track] = np.interp(np.arange(len(weak[track])), good, offset_hz[track, good])
    valid = np.array([v is Validity.OK for v in reading.validity], bool)
    frequency = cut.centre_hz + offset_hz.mean(axis=1, dtype=np.float64)
    deviation = 100.0 * offset_hz / np.where(valid, frequency, 1.0)[:, None]
    mean_hz = float(frequency[valid].mean()) if valid.any() else np.nan
    return flutter_of(deviation.astype(np.float32), cut.rate_hz, mean_hz, parts, reading.validity)
