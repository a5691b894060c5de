"""The rate of drift: a steady part, a part that wanders, and what a day adds to its readings."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fluxbench.history._drift import APART, Drift, Moves

F64 = NDArray[np.float64]

WANDER_PER_ROOT_DAY = np.geomspace(2e-4, 0.1, 13)
"""How far a track may wander in a day (one sigma, in the unit of the trail)."""
OF_A_DAY = np.array([0.0, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32])
"""What a day may add to all of its readings (one sigma)."""
SCATTER = np.array([0.7, 1.0, 1.4, 2.0])
"""By how much readings may scatter re the standard errors told with them."""
ALIKE = 4
"""From so many tracks on, they say something of each other's wandering."""
OF_ITS_OWN = 0.2
"""How far a track is believed to be unlike the others before it is looked at."""
BAD_DAY = 10.0
"""What a day that read off may have added (one sigma): so much that it tells nothing."""
LEAST_INTERVALS = 4
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Rates:
    """Rates of (tracks,) in units a day, as a mixture over how much a track wanders.

    `weight`, `centre` and `sigma` are (wanders, tracks), `wander` (wanders, 1) in units squared a
    day. Tracks with fewer than four usable moves have NaN.
    """

    intervals: NDArray[np.int_]
    wander: F64
    weight: F64
    centre: F64
    sigma: F64
    of_a_day: float
    """What a day adds to all of its readings (one sigma)."""

    @property
    def per_day(self) -> F64:
        """The rate expected, (tracks,)."""
        return np.asarray((self.weight * self.centre).sum(axis=0))

    @property
    def error_per_day(self) -> F64:
        """Its standard error, what is not known of the wandering included, (tracks,)."""
        away = self.centre - self.per_day
        return np.asarray(np.sqrt((self.weight * (self.sigma**2 + away**2)).sum(axis=0)))

    @property
    def doubt(self) -> F64:
        """How likely the rate has the other sign, or none, two-sided, (tracks,)."""
        below = (self.weight * ndtr(-self.centre / self.sigma)).sum(axis=0)
        return np.asarray(2.0 * np.minimum(below, 1.0 - below))

    def interval_per_day(self, coverage: float = 0.9) -> F64:
        """Low and high bound of the rate, (2, tracks), by bisection of the mixture."""
        tail = 0.5 * (1.0 - coverage)
        return np.stack([self._quantile(tail), self._quantile(1.0 - tail)])

    def _quantile(self, part: float) -> F64:
        low = (self.centre - 12.0 * self.sigma).min(axis=0)
        high = (self.centre + 12.0 * self.sigma).max(axis=0)
        for _ in range(40):
            middle = 0.5 * (low + high)
            under = (self.weight * ndtr((middle - self.centre) / self.sigma)).sum(axis=0) < part
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        return np.asarray(np.where(np.isfinite(self.per_day), 0.5 * (low + high), np.nan))


def rates_of(drift: Drift, own: Rates | None = None, common: Rates | None = None) -> Rates:
    """The rate of every track, of all that moves it, jumps left out.

    Where what all tracks do can be told apart, it is the sum of that and of what each does alone;
    a day's common error is then in the common part only. `own` and `common` are these two, from
    `own_rates_of` and `common_rate_of`, if they are known already.
    """
    common = common_rate_of(drift) if common is None else common
    if drift.trail.tracks < APART:
        day = common.of_a_day
        log, centre, sigma = _chained(drift, drift.move, drift.error, drift.usable, day)
        return _mixture(log, centre, sigma, drift.usable, day)
    own = own_rates_of(drift) if own is None else own
    wander = np.exp((common.weight * np.log(common.wander)).sum(axis=0))
    return replace(
        own,
        wander=own.wander + wander,
        centre=own.centre + common.per_day,
        sigma=np.hypot(own.sigma, common.error_per_day),
        of_a_day=common.of_a_day,
    )


def own_rates_of(drift: Drift) -> Rates:
    """The rate of every track beside what all tracks do together.

    The tracks of a deck are alike: by how much their readings scatter beyond what was told with
    them is one number for all, and how much they wander is expected to be alike in part.
    """
    usable = np.isfinite(drift.own) & ~drift.jumped_alone
    wander = WANDER_PER_ROOT_DAY[:, np.newaxis, np.newaxis] ** 2
    days = drift.days[:, np.newaxis]
    own = np.where(usable, drift.own, 0.0)
    tables = []
    for scatter in SCATTER:
        variance = wander * days + (scatter * np.where(usable, drift.error, 1.0)) ** 2
        share = usable / variance
        xx, xy = drift.days**2 @ share, drift.days @ (share * own)
        log = -0.5 * (np.log(variance) * usable).sum(axis=1)
        tables.append(_restricted(log, xx, xy, (share * own**2).sum(axis=1)))
    log, centre, sigma = (np.stack(table) for table in zip(*tables, strict=True))
    weight = _alike(log, usable.sum(axis=0) >= LEAST_INTERVALS).reshape(-1, own.shape[1])
    count = usable.sum(axis=0)
    centre = np.where(count < LEAST_INTERVALS, np.nan, centre.reshape(weight.shape))
    wanders = np.tile(WANDER_PER_ROOT_DAY**2, len(SCATTER))[:, np.newaxis]
    return Rates(count, wanders, weight, centre, sigma.reshape(weight.shape), 0.0)


def _alike(log: F64, counts: NDArray[np.bool_]) -> F64:
    """Weights (scatters, wanders, tracks) of likelihoods, the tracks that count being alike."""
    likely = np.exp(log - log.max(axis=(0, 1)))
    of_scatter = np.log(likely.sum(axis=1))[:, counts].sum(axis=1)
    scatter = np.exp(of_scatter - of_scatter.max())
    likely = likely * (scatter / scatter.sum())[:, np.newaxis, np.newaxis]
    prior = np.full(len(WANDER_PER_ROOT_DAY), 1.0 / len(WANDER_PER_ROOT_DAY))
    flat = prior
    for _ in range(3):
        weight = likely * prior[:, np.newaxis]
        weight = weight / weight.sum(axis=(0, 1))
        if counts.sum() < ALIKE:
            break
        prior = OF_ITS_OWN * flat + (1.0 - OF_ITS_OWN) * weight[:, :, counts].mean(axis=(0, 2))
    return np.asarray(weight)


def common_rate_of(drift: Moves) -> Rates:
    """The rate of what all tracks do together, as of one track.

    What a day adds to its readings is in the as found and the as left of that day, so that two
    neighbouring moves carry it with opposite signs; by that it is told from wandering.
    """
    usable = drift.steady_together[:, np.newaxis]
    together, error = drift.together[:, np.newaxis], drift.together_error[:, np.newaxis]
    parts = OF_A_DAY if usable.sum() >= 2 * LEAST_INTERVALS else OF_A_DAY[:1]
    log, centre, sigma = (
        table.reshape(-1, 1)
        for table in _chained(drift, together, error, usable, parts[:, np.newaxis])
    )
    wander = np.tile(WANDER_PER_ROOT_DAY**2, len(parts))
    weight = _normalised(log)
    day = np.sqrt((weight.reshape(len(parts), -1).sum(axis=1) * parts**2).sum())
    centre = np.where(usable.sum() < LEAST_INTERVALS, np.nan, centre)
    return Rates(usable.sum(axis=0), wander[:, np.newaxis], weight, centre, sigma, float(day))


def _mixture(
    log: F64, centre: F64, sigma: F64, usable: NDArray[np.bool_], of_a_day: float
) -> Rates:
    count = usable.sum(axis=0)
    centre = np.where(count < LEAST_INTERVALS, np.nan, centre)
    wander = WANDER_PER_ROOT_DAY[:, np.newaxis] ** 2
    return Rates(count, wander, _normalised(log), centre, sigma, of_a_day)


def _normalised(log: F64) -> F64:
    weight = np.exp(log - log.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))


def _restricted(log: F64, xx: F64, xy: F64, yy: F64) -> tuple[F64, F64, F64]:
    """Restricted log-likelihood, best rate, its sigma, from the sums of squares."""
    xx = np.maximum(xx, 1e-12)
    return log - 0.5 * (yy - xy**2 / xx) - 0.5 * np.log(xx), xy / xx, 1.0 / np.sqrt(xx)


def _chained(
    moves: Moves, move: F64, error: F64, usable: NDArray[np.bool_], of_a_day: F64 | float
) -> tuple[F64, F64, F64]:
    """The same for moves that carry what a day adds, (parts of a day..., wanders, series) each.

    The covariance is tridiagonal: wander x days and the spreads on the diagonal, and what a day
    adds, once with either sign, in neighbouring moves; a bad day adds much. Solved as L D L',
    of which only what follows from the move before is worked out move by move.
    """
    wander = WANDER_PER_ROOT_DAY[:, np.newaxis] ** 2
    day2 = np.asarray(of_a_day)[..., np.newaxis] ** 2
    shape = np.broadcast_shapes(wander.shape, day2.shape, (1, move.shape[1]))
    each = (-1, *(1 for _ in shape))
    days, use = moves.days.reshape(each), usable.reshape(-1, *each[1:-1], move.shape[1])
    after2 = day2 + BAD_DAY**2 * moves.bad_day.reshape(each)
    before2 = np.concatenate([np.broadcast_to(day2, after2[:1].shape), after2[:-1]])
    follows = (np.diff(moves.first, prepend=moves.first[:1]) == 1).reshape(each)
    linked = follows & use & np.concatenate([np.zeros_like(use[:1]), use[:-1]])
    y_own = np.where(use, move.reshape(use.shape), 0.0)
    spread2 = np.where(use, error.reshape(use.shape), 1.0) ** 2
    diagonal = wander * days + spread2 + before2 + after2
    beside = np.where(linked, before2, 0.0)
    pivot, x, y = (np.empty((len(diagonal), *shape)) for _ in range(3))
    last, x_last, y_last = np.ones(shape), np.zeros(shape), np.zeros(shape)
    for i, side in enumerate(beside):
        tie = side / last
        last = np.subtract(diagonal[i], tie * side, out=pivot[i])
        x_last = np.add(days[i], tie * x_last, out=x[i])
        y_last = np.add(y_own[i], tie * y_last, out=y[i])
    share = use / pivot
    xx, xy, yy = ((share * a * b).sum(axis=0) for a, b in ((x, x), (x, y), (y, y)))
    return _restricted(-0.5 * (np.log(pivot) * use).sum(axis=0), xx, xy, yy)
