"""How much later each track comes, and the line through that: the angle of the head."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._frequency import Envelope, HeardTone, hear
from fluxbench.measure._spectrum import Samples
from fluxbench.measure._spread import clustered_error

_BLOCK_S = 0.1
"""Short enough for the tape not to wander through half a turn."""


@dataclass(frozen=True, slots=True)
class DelaysReading:
    """Delays of all tracks at one frequency; arrays have one number a track, NaN if not valid.

    `delay_us` is re `reference_track` (the first valid one, from 1), positive: later. The line
    through the delays has `slope_us_per_mm`; `scatter_us` is what each delay lies above it.
    `validity` is OK if two tracks or more are.
    """

    frequency_hz: float
    duration_s: float
    reference_track: int | None
    delay_us: NDArray[np.float64]
    delay_standard_error_us: NDArray[np.float64]
    slope_us_per_mm: float
    slope_standard_error_us_per_mm: float
    scatter_us: NDArray[np.float64]
    scatter_standard_error_us: NDArray[np.float64]
    track_validity: tuple[Validity, ...]
    validity: Validity


def track_delays(
    samples: Samples, rate_hz: float, frequency_hz: float, positions_mm: Sequence[float]
) -> DelaysReading:
    """Measure the delay of every track and the line through the delays across the tape.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; 5 s or more, since tape wanders.
    rate_hz
        Sample rate in Hz.
    frequency_hz
        Nominal frequency of the tone in Hz. Neighbours must lie within half a period.
    positions_mm
        Place of each track across the tape in mm, in order.

    Returns
    -------
    DelaysReading
        NaN and a validity where there is nothing to trust.

    Raises
    ------
    MisuseError
        Wrong shape or frequency, or not one position of its own for each track.

    Notes
    -----
    Phases are unwrapped from each valid track to the next, in blocks of 0.1 s, so that neither
    the outer tracks nor the wander of the tape can hide whole turns. Errors come from blocks of
    0.5 s or more, and are never below what the noise beside the tone must give.

    Examples
    --------
    Three tracks 2 mm apart, each 10 us later than the last: 5 us a mm.

    >>> time_s = np.arange(96_000) / 48_000
    >>> delayed = [0.1 * np.sin(2 * np.pi * 10_000 * (time_s - 1e-5 * k)) for k in range(3)]
    >>> reading = track_delays(np.stack(delayed, axis=1), 48_000, 10_000.0, [0.0, 2.0, 4.0])
    >>> round(reading.slope_us_per_mm, 4), [round(float(d), 3) for d in reading.delay_us]
    (5.0, [0.0, 10.0, 20.0])
    """
    return delays_of(hear(samples, rate_hz, frequency_hz), positions_mm)


def delays_of(tone: HeardTone, positions_mm: Sequence[float]) -> DelaysReading:
    """Work out the delays of a tone that was heard, as `track_delays` does."""
    places_mm, tracks = np.asarray(positions_mm, np.float64), len(tone.validity)
    if places_mm.shape != (tracks,):
        raise MisuseError(f"{places_mm.size} positions for {tracks} tracks: give each track one")
    if len(np.unique(places_mm)) < tracks or not np.all(np.isfinite(places_mm)):
        raise MisuseError("track positions must be finite and differ: give each its own place")
    valid = np.flatnonzero(tone.valid)
    if len(valid) < 2:
        return _no_delays(tone, valid)
    envelope = tone.envelope
    products, weight = block_products(envelope, int(valid[0]))
    phase_rad = _unwrapped(products[:, valid])
    to_us = 1e6 / (2.0 * np.pi * envelope.centre_hz)
    blocks_us = -to_us * phase_rad
    noise_us = to_us * tone.inside.phase_error()[valid]

    across_mm = places_mm[valid] - places_mm[valid].mean()
    pull = across_mm / np.sum(across_mm**2)
    slopes = blocks_us @ pull
    off_line = blocks_us - slopes[:, None] * across_mm
    off_line -= off_line.mean(axis=1, keepdims=True)
    delay, delay_error = mean_of_blocks(blocks_us, weight, envelope.duration_s)
    slope, slope_error = mean_of_blocks(slopes[:, None], weight, envelope.duration_s)
    scatter, scatter_error = mean_of_blocks(off_line, weight, envelope.duration_s)
    delay_error = np.maximum(delay_error, np.hypot(noise_us, noise_us[0]))
    delay_error[0] = 0.0

    def spread_out(values: NDArray[np.float64]) -> NDArray[np.float64]:
        everywhere = np.full(tracks, np.nan)
        everywhere[valid] = values
        return everywhere

    return DelaysReading(
        frequency_hz=envelope.centre_hz,
        duration_s=tone.duration_s,
        reference_track=int(valid[0]) + 1,
        delay_us=spread_out(delay),
        delay_standard_error_us=spread_out(delay_error),
        slope_us_per_mm=float(slope[0]),
        slope_standard_error_us_per_mm=max(
            float(slope_error[0]), float(np.sqrt(np.sum((pull * noise_us) ** 2)))
        ),
        scatter_us=spread_out(scatter),
        scatter_standard_error_us=spread_out(np.maximum(scatter_error, noise_us)),
        track_validity=tone.validity,
        validity=Validity.OK,
    )


def block_products(
    envelope: Envelope, reference: int
) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Mean product of every track with the reference, in blocks, and the weight of each block."""
    points = len(envelope.time_s)
    count = min(max(int(envelope.duration_s / _BLOCK_S), 1), points)
    edges = np.arange(count) * points // count
    product = envelope.values * np.conj(envelope.values[:, [reference]])
    weight = np.add.reduceat(envelope.weight, edges)
    return np.add.reduceat(product, edges, axis=0), weight


def _unwrapped(products: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Phase re the first column, in blocks, each column within half a turn of the one before."""
    steps = products[:, 1:] * np.conj(products[:, :-1])
    typical = np.angle(np.sum(steps, axis=0))
    step_rad = typical + np.angle(steps * np.exp(-1j * typical))
    return np.concatenate([np.zeros((len(products), 1)), np.cumsum(step_rad, axis=1)], axis=1)


def mean_of_blocks(
    blocks: NDArray[np.float64], weight: NDArray[np.float64], duration_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weighted mean over blocks and its standard error, per column."""
    share = (weight / np.sum(weight))[:, None]
    mean = np.sum(share * blocks, axis=0)
    return mean, clustered_error(share * (blocks - mean), duration_s)


def _no_delays(tone: HeardTone, valid: NDArray[np.intp]) -> DelaysReading:
    nothing = np.full(len(tone.validity), np.nan)
    worst = next((v for v in tone.validity if v is not Validity.OK), Validity.NO_SIGNAL)
    return DelaysReading(
        frequency_hz=tone.envelope.centre_hz,
        duration_s=tone.duration_s,
        reference_track=int(valid[0]) + 1 if len(valid) else None,
        delay_us=nothing,
        delay_standard_error_us=nothing,
        slope_us_per_mm=np.nan,
        slope_standard_error_us_per_mm=np.nan,
        scatter_us=nothing,
        scatter_standard_error_us=nothing,
        track_validity=tone.validity,
        validity=worst,
    )
