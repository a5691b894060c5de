"""What a corrected copy changes: numbers, ready to be told and to be carried out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._faults import Fault, Kind, Limits, Verdict
from fluxbench.captures.catalogue._heard import Heard
from fluxbench.captures.catalogue._tones import middle
from fluxbench.trade import Equalisation


@dataclass(frozen=True, slots=True)
class Corrections:
    """One number a track, and what holds for all of them.

    `gain_db` is added; `advance_us` is how much sooner a track comes (negative: later);
    `polarity` is 1 or -1. `played` and `recorded` are None where no equalisation is changed.
    `speed_ratio` is played over true speed, 1 where it is not changed.
    """

    gain_db: tuple[float, ...]
    polarity: tuple[int, ...]
    advance_us: tuple[float, ...]
    played: Equalisation | None = None
    recorded: Equalisation | None = None
    reference_hz: float = 1000.0
    speed_ratio: float = 1.0

    @property
    def changes(self) -> bool:
        """Whether there is anything to correct."""
        return (
            any(self.gain_db)
            or -1 in self.polarity
            or any(self.advance_us)
            or self.recorded is not None
            or self.speed_ratio != 1.0
        )


_EVEN_DB = 0.01
_TOGETHER_US = 0.1
"""Less than this is left as it is, where it is no fault. Our choice."""


def _doubt_us(heard: Heard) -> float:
    """Delays below this may be none."""
    known = heard.delay_error_us[np.isfinite(heard.delay_error_us)]
    return max(_TOGETHER_US, 2.0 * float(known.max(initial=0.0)))


def corrections_of(
    heard: Heard, faults: Sequence[Fault], declared: Declared, limits: Limits
) -> Corrections | None:
    """What can be put right of these faults; None without a tone to go by.

    Where there is one to put right, level, balance and delay that are no faults are put right with
    it: a copy is made anyway.
    """
    if heard.reference is None:
        return None
    kinds = {fault.kind for fault in faults if fault.asks_for is Verdict.REPAIR}
    level_dbfs = heard.reference.level_dbfs
    middle_dbfs = middle(level_dbfs, declared.level_dbfs, limits.level_db)
    gain_db, advance_us = np.zeros(heard.tracks), np.zeros(heard.tracks)
    if kinds:
        wanted_dbfs = middle_dbfs if declared.level_dbfs is None else declared.level_dbfs
        known = np.isfinite(level_dbfs)
        gain_db = np.where(known, wanted_dbfs - level_dbfs, wanted_dbfs - middle_dbfs)
        if np.abs(gain_db).max() < _EVEN_DB:
            gain_db = np.zeros(heard.tracks)
        advance_us = np.nan_to_num(heard.delay_us)
        if Kind.DELAY not in kinds and np.ptp(advance_us) < _doubt_us(heard):
            advance_us = np.zeros(heard.tracks)
    equalised = Kind.EQUALISATION in kinds and heard.likely.recorded is not None
    return Corrections(
        tuple(map(float, gain_db)),
        tuple(-1 if way < 0 else 1 for way in heard.polarity),
        tuple(map(float, advance_us)),
        heard.likely.played if equalised else None,
        heard.likely.recorded if equalised else None,
        heard.reference.nominal_hz,
        1.0 + heard.speed_offset_percent / 100.0 if Kind.SPEED in kinds else 1.0,
    )
