"""What a corrected copy changes: numbers, ready to be told and to be carried out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._faults import Fault, Kind, Verdict
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


def corrections_of(heard: Heard, faults: Sequence[Fault], declared: Declared) -> Corrections | None:
    """What can be put right of these faults; None without a tone to go by."""
    if heard.reference is None:
        return None
    kinds = {fault.kind for fault in faults if fault.asks_for is Verdict.REPAIR}
    level_dbfs = heard.reference.level_dbfs
    middle_dbfs = middle(level_dbfs, declared.level_dbfs)
    gain_db = np.zeros(heard.tracks)
    if Kind.BALANCE in kinds:
        gain_db += np.nan_to_num(middle_dbfs - level_dbfs)
    if Kind.LEVEL in kinds and declared.level_dbfs is not None:
        gain_db += declared.level_dbfs - middle_dbfs
    advance_us = np.zeros(heard.tracks)
    if Kind.DELAY in kinds:
        advance_us = np.nan_to_num(heard.delay_us)
    equalised = Kind.EQUALISATION in kinds
    return Corrections(
        tuple(map(float, gain_db)),
        tuple(-1 if way < 0 else 1 for way in heard.polarity),
        tuple(map(float, advance_us)),
        heard.likely.played if equalised else None,
        heard.likely.recorded if equalised else None,
        heard.reference.nominal_hz,
        1.0 + heard.speed_offset_percent / 100.0 if Kind.SPEED in kinds else 1.0,
    )
