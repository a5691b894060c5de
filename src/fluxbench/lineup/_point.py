"""A tenth of a second of all tracks: what the procedure is fed with."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure import HOP_S, Hop, power_dbfs

F64 = NDArray[np.float64]
C64 = NDArray[np.complex64]
HOPS_PER_POINT = 5
POINTS_PER_BLOCK = 5
STEP_S = HOP_S / 20
"""From one sample of an envelope to the next."""
LOW_HZ = 600.0
"""Below, a tone's level is that of its mean envelope over a point: its image falls out."""


class Point:
    """0.1 s of all tracks: level (tones, tracks) in dB re 0 VU, NaN if not valid; envelopes."""

    __slots__ = ("clipped", "envelope", "level_db", "lost", "share", "time_s")

    def __init__(self, hops: list[Hop], zero_dbfs: float) -> None:
        powers = np.array([hop.power for hop in hops])
        levels = power_dbfs(powers) - zero_dbfs
        kept = levels >= np.sort(levels, axis=0)[len(hops) // 2] - 1.0
        self.level_db: F64 = np.where(kept, levels, 0.0).sum(axis=0) / kept.sum(axis=0)
        self.lost = any(hop.lost for hop in hops)
        self.clipped = np.any([hop.clipped for hop in hops], axis=0)
        self.envelope = np.concatenate([hop.envelope for hop in hops])
        power = powers.mean(axis=0)
        low = [i for i, f in enumerate(hops[0].frequencies_hz) if 0.0 < f < LOW_HZ]
        if low:
            power[low] = np.abs(steady_mean(self.envelope[:, low])) ** 2
            self.level_db[low] = power_dbfs(power[low]) - zero_dbfs
        total = np.mean([hop.total_power for hop in hops], axis=0)
        self.share: F64 = power / np.maximum(total, 1e-20)
        if self.lost:
            self.level_db[:] = np.nan
        self.level_db[:, self.clipped] = np.nan
        self.time_s = (hops[-1].first_frame + hops[-1].frames) / hops[-1].frames * HOP_S


def steady_mean(envelope: C64) -> NDArray[np.complex128]:
    """Mean (tones, tracks) of envelopes (points, tones, tracks), turned back by the common drift.

    A tape that runs slow turns the envelopes of its tones, and a plain mean would read them low.
    The window keeps the image at minus the frequency, and neighbouring tones, out.
    """
    count = len(envelope)
    first, second = (
        np.tensordot(np.hanning(len(part) + 2)[1:-1], part, (0, 0))
        for part in (envelope[: count // 2], envelope[count // 2 :])
    )
    drift = np.angle((second * first.conj()).sum(axis=1)) / (count / 2)
    window = np.hanning(count + 2)[1:-1]
    back = np.exp(-1j * np.outer(np.arange(count), drift))[:, :, np.newaxis]
    return np.asarray(np.tensordot(window, envelope * back, (0, 0)) / window.sum())


def mean_level_db(points: Sequence[Point]) -> F64:
    """Mean level (tones, tracks) without what strays by 3 dB, NaN where nothing is valid."""
    stacked = np.array([p.level_db for p in points])
    out = np.full(stacked.shape[1:], np.nan)
    seen = np.isfinite(stacked).any(axis=0)
    some = stacked[:, seen]
    middle = np.nanmedian(some, axis=0)
    use = np.abs(some - middle) <= 3.0
    count = use.sum(axis=0)
    total = np.where(use, some, 0.0).sum(axis=0)
    out[seen] = np.where(count > 0, total / np.maximum(count, 1), middle)
    return out


def error_db(points: Sequence[Point]) -> F64:
    """Standard error (tones, tracks) of a mean level, from blocks of 0.5 s; NaN from fewer than 3.

    NaN too where a block has no reading.
    """
    blocks = len(points) // POINTS_PER_BLOCK
    levels = np.array([p.level_db for p in points[: blocks * POINTS_PER_BLOCK]])
    if blocks < 3:
        return np.full(points[0].level_db.shape, np.nan)
    means = levels.reshape(blocks, POINTS_PER_BLOCK, *levels.shape[1:]).mean(axis=1)
    return np.asarray(means.std(axis=0, ddof=1) / np.sqrt(blocks))
