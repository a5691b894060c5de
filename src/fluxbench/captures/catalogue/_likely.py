"""The equalisation that a reel was recorded to, from the levels of its tones: how likely each is.

A tone sent at one level leaves the flux N_recorded(f) on tape and is read N_recorded - N_played
high (IEC 60094-1 clause 15). Every known standard of the speed is held against what was read; so
is "none of them". Priors and spreads are our choice, common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures.catalogue._tones import SHORT_WAVES_HZ, Point
from fluxbench.trade import EQUALISATION_STANDARDS, Equalisation, EqualisationStandard

F64 = NDArray[np.float64]

SURE = 0.9
LEVEL_STEPS_DB = (0.0, -10.0, -20.0)
"""What short waves may be recorded at re the reference tone."""

_HIGH_HZ, _LOW_HZ = 5000.0, 130.0
_OLD, _PROPOSED = 0.3, 0.03
"""How much rarer old standards, and proposals that never were one, are than current ones."""

_NONE_PRIOR = 0.02
_NONE_SPREAD_DB = 6.0
_MISPLAYED = 0.2
"""Share of transfers played with another equalisation, where nobody says which was used."""

_LOSSY = 0.1
"""Share of transfers that lost high end to dirt, wear or azimuth."""

_LOSSES_DB = np.arange(0.5, 10.1, 0.5)
_LOSS_SPREAD_DB = 3.0
"""At 10 kHz."""

_WORTH_POINTS = 4.0


@dataclass(frozen=True, slots=True)
class Against:
    """One standard held against a capture: what is left unexplained, and how likely it is."""

    names: tuple[str, ...]
    equalisation: Equalisation
    error_db: float
    """rms over the points."""
    probability: float


@dataclass(frozen=True, slots=True)
class Likely:
    """What the tones say of the equalisations; `why` is not empty where they cannot tell.

    `recorded` and `played` are None where they cannot be told apart from others; `as_recorded` is
    True if played is what was recorded, whichever that is, and None where that cannot be told. It
    is False with no `recorded` where what was played was surely not recorded, but several others
    fit.
    """

    recorded: Equalisation | None
    played: Equalisation | None
    as_recorded: bool | None
    confidence: float
    step_db: float
    against: tuple[Against, ...]
    why: str = ""

    @property
    def candidates(self) -> tuple[Equalisation, ...]:
        """The likeliest, as many as are sure together."""
        found: list[Equalisation] = []
        held = 0.0
        for each in sorted(self.against, key=lambda against: -against.probability):
            if held < SURE:
                found.append(each.equalisation)
                held += each.probability
        return tuple(found)

    @property
    def nearest(self) -> Equalisation:
        """What was recorded, or where several fit the likeliest; of standards that were weighed."""
        return self.recorded or self.candidates[0]


@dataclass(frozen=True, slots=True)
class _Explanation:
    level_db: F64
    step_db: float
    lost_db: float
    prior: float


@dataclass(frozen=True, slots=True)
class _Case:
    recorded: Equalisation
    played: Equalisation
    prior: float


def difference_db(
    recorded: Equalisation, played: Equalisation, frequency_hz: F64, re_hz: float
) -> F64:
    """How high a tone reads re another one, of a reel recorded to one and played with another."""
    return np.asarray(
        recorded.flux_re_db(frequency_hz, re_hz) - played.flux_re_db(frequency_hz, re_hz)
    )


def likely_equalisation(
    points: Sequence[Point],
    reference_hz: float,
    speed_ips: float | None,
    played: Equalisation | None,
    lost_db: F64,
) -> Likely:
    """Weigh the standards of a speed.

    `lost_db` is what each point is known to have lost for another reason (azimuth), in dB.
    """
    standards = {s.equalisation: s for s in EQUALISATION_STANDARDS if s.speed_ips == speed_ips}
    why = _why_not(points, speed_ips, bool(standards))
    if why:
        return Likely(None, played, None, 0.0, 0.0, (), why)
    hz = np.array([point.frequency_hz for point in points])
    read_db = np.array([point.mean_db for point in points]) + lost_db
    cases = _cases({e: _rarity(s) for e, s in standards.items()}, played)
    explained = np.stack([difference_db(c.recorded, c.played, hz, reference_hz) for c in cases])
    custom = _explanations(hz, speed_ips or 0.0)
    left_db = read_db - explained[:, None, :] - np.stack([each.level_db for each in custom])
    spread_db = _spread_db(hz)
    priors = np.log(np.outer([case.prior for case in cases], [each.prior for each in custom]))
    logs = priors + _log_fit(left_db, spread_db)
    none = math.log(_NONE_PRIOR) + float(_log_fit(read_db, np.full(len(hz), _NONE_SPREAD_DB)))
    top = max(float(logs.max()), none)
    weights = np.exp(logs - top)
    share = weights / (weights.sum() + math.exp(none - top))
    by_case = share.sum(axis=1)
    best = int(np.argmax(by_case))
    step_db = custom[int(np.argmax(share[best]))].step_db
    plain = [index for index, each in enumerate(custom) if not each.lost_db]
    error_db = np.sqrt(np.mean(left_db[:, plain] ** 2, axis=2)).min(axis=1)
    against = tuple(
        Against(
            s.names,
            e,
            min(float(error_db[i]) for i, c in enumerate(cases) if c.recorded == e),
            float(sum(by_case[i] for i, c in enumerate(cases) if c.recorded == e)),
        )
        for e, s in standards.items()
    )
    return _told(cases, by_case, best, step_db, against, played)


def _told(
    cases: Sequence[_Case],
    by_case: F64,
    best: int,
    step_db: float,
    against: tuple[Against, ...],
    played: Equalisation | None,
) -> Likely:
    case, confidence = cases[best], float(by_case[best])
    same = float(sum(p for c, p in zip(cases, by_case, strict=True) if c.recorded == c.played))
    if confidence >= SURE:
        right = case.recorded == case.played
        return Likely(case.recorded, case.played, right, confidence, step_db, against)
    if played is None and same >= SURE:
        why = "played as it was recorded; which equalisation that is, only a declaration tells"
        return Likely(None, None, True, same, step_db, against, why)
    if played is not None and by_case.sum() - same >= SURE:
        why = "not what it was played with, but several standards fit the tones as well"
        return Likely(None, played, False, float(by_case.sum()) - same, step_db, against, why)
    why = (
        "no standard explains the levels of the tones"
        if by_case.sum() < 1.0 - SURE
        else "several standards fit the tones as well"
    )
    return Likely(None, played, None, confidence, step_db, against, why)


def _why_not(points: Sequence[Point], speed_ips: float | None, known: bool) -> str:
    if not points:
        return "there are no two tones to compare"
    if speed_ips is None:
        return "nobody says at which speed the reel was recorded"
    if not known:
        return f"no standard is known at {speed_ips:g} in/s"
    if not any(p.frequency_hz >= _HIGH_HZ or p.frequency_hz <= _LOW_HZ for p in points):
        return "there is no tone at 5 kHz and above, and none at 130 Hz and below"
    return ""


def _rarity(standard: EqualisationStandard) -> float:
    told = f"{standard.names} {standard.dates}"
    if "propos" in told or "never" in told:
        return _PROPOSED
    return 1.0 if "current" in standard.dates else _OLD


def _cases(rarity: dict[Equalisation, float], played: Equalisation | None) -> list[_Case]:
    whole = sum(rarity.values())
    if played is not None:
        return [_Case(e, played, weight / whole) for e, weight in rarity.items()]
    cases = []
    for recorded, weight in rarity.items():
        others = whole - weight
        for with_, other in rarity.items():
            given = (
                1.0 - (_MISPLAYED if others else 0.0)
                if with_ == recorded
                else _MISPLAYED * other / others
            )
            cases.append(_Case(recorded, with_, weight / whole * given))
    return cases


def _explanations(hz: F64, speed_ips: float) -> list[_Explanation]:
    """Levels of the short waves, and high ends lost to dirt, wear or azimuth, each how likely.

    -10 dB is the custom at 7.5 ips and below. A loss in dB grows with frequency, as that of a
    head that stands off the tape does (Wallace 1951).
    """
    steps = {0.0: 0.9, -10.0: 0.09, -20.0: 0.01}
    if speed_ips <= 7.5:
        steps = {0.0: 0.4, -10.0: 0.5, -20.0: 0.1}
    weights = np.exp(-0.5 * (_LOSSES_DB / _LOSS_SPREAD_DB) ** 2)
    losses = {0.0: 1.0 - _LOSSY} | dict(
        zip(_LOSSES_DB.tolist(), (_LOSSY * weights / weights.sum()).tolist(), strict=True)
    )
    return [
        _Explanation(
            np.where(hz > SHORT_WAVES_HZ, step_db, 0.0) - lost_db * hz / 10_000.0,
            step_db,
            lost_db,
            prior * likely,
        )
        for step_db, prior in steps.items()
        for lost_db, likely in losses.items()
    ]


def _spread_db(hz: F64) -> F64:
    """How far tones of a deck in order lie from the standard: the head bump below, wear above."""
    return np.select([hz <= 200.0, hz < SHORT_WAVES_HZ, hz <= 10_500.0], [1.0, 0.4, 0.6], 1.0)


def _log_fit(off_db: F64, spread_db: F64) -> F64:
    """Log likelihood of what is left, over the last axis; many points weigh as a few."""
    worth = min(1.0, _WORTH_POINTS / off_db.shape[-1])
    fit = -0.5 * np.sum((off_db / spread_db) ** 2, axis=-1) - np.sum(np.log(spread_db))
    return np.asarray(worth * fit)
