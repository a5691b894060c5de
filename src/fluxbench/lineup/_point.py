"""A tenth of a second of all tracks: what the procedure is fed with."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure import HOP_S, Hop

F64 = NDArray[np.float64]
HOPS_PER_POINT = 5
LOW_HZ = 600.0
"""Below, a tone's level is that of its mean envelope over a point: its image falls out."""


class Point:
    """0.1 s of all tracks: level (tones, tracks) in dB re 0 VU, NaN if not valid; envelopes."""

    __slots__ = ("clipped", "envelope", "level_db", "lost", "share", "time_s")

    def __init__(self, hops: list[Hop], zero_dbfs: float) -> None:
        levels = np.array([hop.level_dbfs() for hop in hops]) - zero_dbfs
        middle = np.median(levels, axis=0)
        kept = np.where(levels >= middle - 1.0, levels, np.nan)
        self.level_db: F64 = np.nanmean(kept, axis=0)
        self.lost = any(hop.lost for hop in hops)
        self.clipped = np.max([hop.peak for hop in hops], axis=0) >= 0.999
        self.envelope = np.concatenate([hop.envelope for hop in hops])
        power = np.mean([hop.power for hop in hops], axis=0)
        low = [i for i, f in enumerate(hops[0].frequencies_hz) if 0.0 < f < LOW_HZ]
        if low:
            power[low] = np.abs(self.envelope[:, low].mean(axis=0)) ** 2
            self.level_db[low] = 10.0 * np.log10(np.maximum(power[low], 1e-20)) - zero_dbfs
        total = np.mean([hop.total_power for hop in hops], axis=0)
        self.share: F64 = power / np.maximum(total, 1e-20)
        if self.lost:
            self.level_db[:] = np.nan
        self.level_db[:, self.clipped] = np.nan
        self.time_s = (hops[-1].first_frame + hops[-1].frames) / hops[-1].frames * HOP_S
