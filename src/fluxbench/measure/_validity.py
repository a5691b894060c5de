"""What makes samples unfit, seen before any tone is measured in them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Validity
from fluxbench.measure._spectrum import Samples

SHORTEST_S = 0.2
SHORTEST_PERIODS = 8.0
FULL_SCALE = 0.9999
_DC_FULL_SCALE = 0.001
_DC_OF_RMS = 0.1


def waveform_validity(
    samples: Samples, rate_hz: float, frequency_hz: float
) -> tuple[Validity, ...]:
    """Say per track whether a tone of about this frequency can be measured at all.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; may hold anything.
    rate_hz
        Sample rate in Hz.
    frequency_hz
        The lowest tone expected, in Hz.

    Returns
    -------
    tuple of Validity
        `NOT_FINITE`; `TOO_SHORT` below 0.2 s or 8 periods; `CLIPPED` if samples stay within
        0.0001 of full scale, or of a peak beyond it (floating point), longer than a sine that
        just reaches it; `DC` if the mean is above
        0.1 % of full scale and a tenth of the alternating part's rms; else `OK`. The limits are
        our choice.

    Examples
    --------
    >>> time_s = np.arange(48_000) / 48_000
    >>> sine = np.sin(2 * np.pi * 1000 * time_s)
    >>> tracks = np.stack([sine, np.clip(2 * sine, -1, 1), 0.1 * sine + 0.05], axis=1)
    >>> [validity.value for validity in waveform_validity(tracks, 48_000, 1000.0)]
    ['ok', 'clipped', 'dc']
    """
    too_short = len(samples) / rate_hz < max(SHORTEST_S, SHORTEST_PERIODS / frequency_hz)
    longest = clipped_run(rate_hz, frequency_hz)
    return tuple(_of_track(np.ascontiguousarray(track), too_short, longest) for track in samples.T)


def clipped_run(rate_hz: float, frequency_hz: float) -> int:
    """Most samples in a row that a sine which just reaches full scale has at its top."""
    return int(np.arccos(FULL_SCALE) / np.pi * rate_hz / frequency_hz) + 1


def dc_is_too_much(mean: NDArray[np.float64], rms: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a mean is above 0.1 % of full scale and a tenth of the alternating part's rms."""
    return np.asarray(np.abs(mean) > np.maximum(_DC_FULL_SCALE, _DC_OF_RMS * rms))


def usable(samples: Samples, rate_hz: float, validity: Sequence[Validity]) -> Samples:
    """Samples that can be worked on: silence in place of unfit tracks, and if all is too short."""
    shortest = int(np.ceil(SHORTEST_S * rate_hz))
    if len(samples) < shortest:
        return np.zeros((shortest, len(validity)))
    fit = np.array([v is Validity.OK for v in validity], bool)
    return samples if fit.all() else np.where(fit, samples, samples.dtype.type(0))


def downgraded(
    validity: Sequence[Validity], kept: NDArray[np.bool_], reason: Validity
) -> tuple[Validity, ...]:
    """Valid tracks that are not kept get a reason; the others have one already."""
    return tuple(
        reason if v is Validity.OK and not keep else v
        for v, keep in zip(validity, kept, strict=True)
    )


def _of_track(track: Samples, too_short: bool, longest: int) -> Validity:
    if len(track) == 0:
        return Validity.TOO_SHORT
    if not np.all(np.isfinite(track)):
        return Validity.NOT_FINITE
    if too_short:
        return Validity.TOO_SHORT
    size = np.abs(track)
    if longest_run(size >= FULL_SCALE * max(float(size.max()), 1.0)) > longest:
        return Validity.CLIPPED
    mean = float(np.mean(track, dtype=np.float64))
    rms = np.sqrt(max(float(np.mean(np.square(track, dtype=np.float64))) - mean**2, 0.0))
    if dc_is_too_much(np.asarray(mean), rms):
        return Validity.DC
    return Validity.OK


def longest_run(at_top: NDArray[np.bool_]) -> int:
    """Most places in a row that are true."""
    places = np.flatnonzero(at_top)
    if len(places) == 0:
        return 0
    breaks = np.flatnonzero(np.diff(places) > 1)
    edges = np.concatenate([[-1], breaks, [len(places) - 1]])
    return int(np.max(np.diff(edges)))
