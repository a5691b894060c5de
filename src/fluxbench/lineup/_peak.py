"""The peak of short-wave level against bias, from both sides, and whether to believe it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Peak:
    """The greatest short-wave level of a track, found from both sides."""

    level_db: float
    error_db: float
    difference_db: float
    """D at the peak."""


@dataclass(frozen=True, slots=True)
class Picture:
    """Short waves against D of one track, in the order of measuring, and what was made of it.

    `phase` is start, lower, raise, set, taken or failed. All arrays are (points,), NaN where there
    was nothing to read.
    """

    track: int
    phase: str
    difference_db: F64
    short_db: F64
    modulation_noise_db: F64
    peak: Peak | None


def modulation_noise_db(envelope: NDArray[np.complex64]) -> float:
    """How much a tone's amplitude fluctuates, rms re the tone, from its envelope (points,)."""
    size = np.abs(envelope)
    mean = float(size.mean())
    return float(20.0 * np.log10(size.std() / mean)) if mean > 0.0 and size.std() > 0.0 else np.nan


def find_peak(short_db: F64, difference_db: F64) -> Peak | None:
    """The peak of S against D (both (points,), 0.1 s apart) if points lie well on both sides.

    A cubic of S against D smoothed over 0.7 s, over the points within about 2 dB of the top. The
    noise of contact is in S and in D alike; at the peak S does not depend on D, so that what is
    left of it in the smoothed D moves the points along a level stretch.
    """
    if len(short_db) < 25:
        return None
    smooth_d = smoothed(difference_db, 7)
    smooth_s = smoothed(short_db, 7)
    top = float(np.max(smooth_s[3:-3]))
    reach = 2.2
    for _ in range(2):
        use = smooth_s > top - reach
        use[:2] = use[-2:] = False
        d, s = smooth_d[use], short_db[use]
        if len(d) < 20 or np.ptp(d) < 0.8:
            return None
        centre, scale = float(d.mean()), float(np.ptp(d)) / 2
        x = (d - centre) / scale
        weight = _evenly(x)
        coefficients = np.polynomial.polynomial.polyfit(x, s, 3, w=np.sqrt(weight))
        slope = np.polynomial.polynomial.polyder(coefficients)
        bend = np.polynomial.polynomial.polyder(slope)
        roots = np.polynomial.polynomial.polyroots(slope)
        real = [r.real for r in roots if abs(r.imag) < 1e-9 and abs(r.real) < 1.0
                and np.polynomial.polynomial.polyval(r.real, bend) < 0]  # fmt: skip
        if not real:
            return None
        at = real[0]
        top = float(np.polynomial.polynomial.polyval(at, coefficients))
    fitted = np.polynomial.polynomial.polyval(x, coefficients)
    residual = s - fitted
    below, above = x > at, x < at
    if not (below.any() and above.any()):
        return None
    if top - fitted[below].min() < 0.3 or top - fitted[above].min() < 0.3:
        return None
    near = np.abs(fitted - top) < 0.8
    blocks = max(2.0, near.sum() / 4.0)
    noise = float(np.std(residual[near])) if near.sum() > 3 else float(np.std(residual))
    return Peak(top, noise / np.sqrt(blocks), centre + scale * at)


KNOWN_FALL_DB = 1.0
"""So far must short waves have been seen to fall beyond the peak to tell where they fall more."""


@dataclass(frozen=True, slots=True)
class Fall:
    """How short waves fall with too much bias: a x²/(1 + c x), x being D at the peak minus D.

    It begins as the square of the distance and becomes a straight line.
    """

    a_per_db: float
    c_per_db: float

    def distance_db(self, fall_db: float) -> float:
        """Where short waves have fallen by so much."""
        there = self.c_per_db * fall_db
        return (there + float(np.sqrt(there**2 + 4.0 * self.a_per_db * fall_db))) / (
            2.0 * self.a_per_db
        )

    def distance_of_slope(self, slope_ratio: float, most_db: float) -> float:
        """Where they fall by so much a dB of D, at most `most_db` away."""
        x = np.linspace(0.0, most_db, 200)
        a, c = self.a_per_db, self.c_per_db
        slopes = a * x * (2.0 + c * x) / (1.0 + c * x) ** 2
        enough = np.flatnonzero(slopes >= slope_ratio)
        return float(x[enough[0]]) if len(enough) else most_db


def fitted_fall(short_db: F64, difference_db: F64, peak: Peak) -> Fall | None:
    """The fall on the side of too much bias, of S and D (points,); None if too little was seen."""
    smooth_d, smooth_s = smoothed(difference_db, 7)[3:-3], smoothed(short_db, 7)[3:-3]
    x, fall = peak.difference_db - smooth_d, peak.level_db - smooth_s
    beyond = x > 0.0
    if beyond.sum() < 10 or fall[beyond].max() < KNOWN_FALL_DB:
        return None
    x, fall = x[beyond], fall[beyond]
    a, c = np.linalg.lstsq(np.stack([x**2, -x * fall], axis=1), fall, rcond=None)[0]
    return Fall(float(a), float(c)) if a > 0.0 and c >= 0.0 else None


BACK_DB = 0.35
"""D that turns back by so much bends; noise of contact moves a mean of 0.9 s by 0.05 to 0.1 dB."""


def bends(difference_db: F64, asked: list[tuple[int, int]]) -> bool:
    """Whether D turned back by `BACK_DB` and more without the hand being asked to turn back.

    `asked` is (point, way) of every change of the asked direction. A stock whose D is not a measure
    of bias does this; S and D then do not tell the side of the peak.
    """
    smooth = smoothed(difference_db, 9)
    for (begin, way), (end, _) in zip(asked, [*asked[1:], (len(smooth), 0)], strict=True):
        piece = -way * smooth[begin:end]  # should rise
        if len(piece) < 15:
            continue
        low = int(np.argmin(piece))
        rise = np.maximum.accumulate(piece[low:])
        started = rise - piece[low] > 0.6
        if bool(np.any(started & (rise - piece[low:] > BACK_DB))):
            return True
    return False


def smoothed(values: F64, points: int) -> F64:
    """Running mean over an odd number of points, the ends held."""
    padded = np.pad(values, points // 2, mode="edge")
    return np.convolve(padded, np.ones(points) / points, "valid")


def _evenly(x: NDArray[np.float64]) -> F64:
    """Weights that count each stretch of x alike, however long the hand dwelt there."""
    bins = np.clip(((x + 1.0) * 10).astype(int), 0, 19)
    count = np.bincount(bins, minlength=20)
    return np.asarray(1.0 / np.maximum(count[bins], 3))
