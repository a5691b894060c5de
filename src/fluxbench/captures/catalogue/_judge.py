"""From the facts of a capture and what is declared about it to a verdict and a remedy."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluxbench.captures.catalogue._against_tones import tone_faults
from fluxbench.captures.catalogue._condition import condition_faults
from fluxbench.captures.catalogue._corrections import Corrections, corrections_of
from fluxbench.captures.catalogue._declared import Declared, with_history
from fluxbench.captures.catalogue._faults import Fault, Limits, Verdict
from fluxbench.captures.catalogue._heard import Heard, hear

_WORTH = list(Verdict)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a capture is worth, and what to do.

    `faults` stand in the order of what they ask for, the worst first. `corrections` is None where
    a file cannot be put right at all.
    """

    verdict: Verdict
    faults: tuple[Fault, ...]
    declared: Declared
    heard: Heard
    fluxivity_nwb_per_m: tuple[float | None, ...]
    corrections: Corrections | None

    @property
    def remedy(self) -> str:
        """What to do, in words; each thing once."""
        if self.verdict is Verdict.NO_TONES:
            return "no line-up tones: level, equalisation and azimuth cannot be told"
        said = dict.fromkeys(f"{fault.found}: {fault.remedy}" for fault in self.faults)
        return "; ".join(said) if said else "nothing to do"


def judge(facts: Mapping[str, Any], declared: Declared, limits: Limits | None = None) -> Judgement:
    """Judge a capture by its facts and by what is declared; what is not declared stays open."""
    limits = limits or Limits()
    history = facts["capture"].get("bext", {}).get("coding_history", [])
    declared = with_history(declared, history)
    heard = hear(facts, declared)
    faults = sorted(
        [*tone_faults(heard, declared, limits), *condition_faults(facts, heard, declared, limits)],
        key=lambda fault: -_WORTH.index(fault.asks_for),
    )
    return Judgement(
        _verdict(faults, heard),
        tuple(faults),
        declared,
        heard,
        _fluxivity(heard, declared),
        corrections_of(heard, faults, declared, limits),
    )


def _verdict(faults: Sequence[Fault], heard: Heard) -> Verdict:
    least = Verdict.GOOD if heard.reference is not None else Verdict.NO_TONES
    return max([least, *(fault.asks_for for fault in faults)], key=_WORTH.index)


def _fluxivity(heard: Heard, declared: Declared) -> tuple[float | None, ...]:
    """Of the reference tone on every track; only a calibrated chain tells it."""
    if declared.chain is None or heard.reference is None:
        return ()
    off_db = heard.reference.level_dbfs - declared.chain.level_dbfs
    each = declared.chain.fluxivity_nwb_per_m * 10.0 ** (off_db / 20.0)
    return tuple(float(value) if np.isfinite(value) else None for value in each)
