"""Kinds of fault, what each asks for, and the limits that they are told by.

Limits: `fluxbench.trade.Tolerances` where it has them; others named beside them.
"""

from dataclasses import dataclass
from enum import StrEnum

from fluxbench.trade import Tolerances


class Verdict(StrEnum):
    """What to do with a capture, the worst of what was found in it; the order is that of worth."""

    GOOD = "good"
    NO_TONES = "no tones"
    LOOK = "look"
    REPAIR = "repair"
    REPEAT = "repeat"
    SET_ASIDE = "set aside"


class Kind(StrEnum):
    """What can be wrong with a capture."""

    LEVEL = "level"
    BALANCE = "balance"
    DELAY = "delay"
    POLARITY = "polarity"
    EQUALISATION = "equalisation"
    SPEED = "speed"
    HIGH_END_LOST = "high end lost"
    RESPONSE = "response"
    FLUTTER = "flutter"
    NOISE = "noise"
    HUM = "hum"
    DROP_OUTS = "drop-outs"
    CLIPPED = "clipped"
    GAP = "gap"
    CUT = "cut"
    NOT_A_NUMBER = "not a number"
    DIRECT_VOLTAGE = "direct voltage"
    DEAD_TRACK = "dead track"
    UNSTEADY = "unsteady"
    NO_TONE = "no tone"
    TWO_LEVELS = "two levels"
    OTHER_SPEED = "other speed"


ASKS_FOR = {
    Kind.LEVEL: Verdict.REPAIR,
    Kind.BALANCE: Verdict.REPAIR,
    Kind.DELAY: Verdict.REPAIR,
    Kind.POLARITY: Verdict.REPAIR,
    Kind.EQUALISATION: Verdict.REPAIR,
    Kind.SPEED: Verdict.REPAIR,
    Kind.HIGH_END_LOST: Verdict.REPEAT,
    Kind.RESPONSE: Verdict.REPEAT,
    Kind.FLUTTER: Verdict.REPEAT,
    Kind.NOISE: Verdict.LOOK,
    Kind.HUM: Verdict.LOOK,
    Kind.DROP_OUTS: Verdict.LOOK,
    Kind.CLIPPED: Verdict.REPEAT,
    Kind.GAP: Verdict.REPEAT,
    Kind.CUT: Verdict.REPEAT,
    Kind.NOT_A_NUMBER: Verdict.REPEAT,
    Kind.DIRECT_VOLTAGE: Verdict.LOOK,
    Kind.DEAD_TRACK: Verdict.REPEAT,
    Kind.UNSTEADY: Verdict.LOOK,
    Kind.NO_TONE: Verdict.LOOK,
    Kind.TWO_LEVELS: Verdict.LOOK,
    Kind.OTHER_SPEED: Verdict.REPEAT,
}


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a capture: what, on which tracks (none: all), and what to do."""

    kind: Kind
    tracks: tuple[int, ...]
    found: str
    remedy: str

    @property
    def asks_for(self) -> Verdict:
        """What to do about it."""
        return ASKS_FOR[self.kind]


@dataclass(frozen=True, slots=True)
class Limits:
    """Beyond these something is a fault."""

    level_db: float = Tolerances().level.accept_db
    """Of the reference tone: all tracks from what is declared, each track from their mean."""

    outer_delay_us: float = 1e6 * 15.0 / 360.0 / 10_000.0
    """Between the outermost tracks: 15 degrees at 10 kHz, common practice, no source."""

    sets_db: float = 0.5
    """Reference tones that were printed more than once are the same below; our choice."""

    programme_dbfs: float = -40.0
    """A track that peaks higher carries something, tones or not; our choice."""

    speed_percent: float = Tolerances().speed_percent
    middle_db: float = 1.0
    """Response up to 10 kHz (IASA-TC 04 5.4.4, from memory; the same in a national library's)."""

    low_end_db: float = Tolerances().response_db
    """Response at 200 Hz and below, where the head bump lies."""

    top_db: tuple[float, float] = (-2.0, 1.0)
    """Response above 10 kHz (as `middle_db`)."""

    high_end_lost_db: float = 1.0
    """At 10 kHz, to azimuth; our choice, that of `middle_db`."""

    noise_db: float = Tolerances().noise_db
    """A-weighted, re the reference tone."""

    hum_db: float = -55.0
    """A line re the reference tone, as on the bench; our choice."""

    def flutter_percent(self, speed_ips: float | None) -> float:
        """Weighted 2 sigma: IASA-TC 04 5.4.4, from memory, and the tolerance of a line-up."""
        if speed_ips is None or speed_ips < 7.0:
            return 0.10
        return 0.08 if speed_ips < 14.0 else Tolerances().flutter_2_sigma_percent
