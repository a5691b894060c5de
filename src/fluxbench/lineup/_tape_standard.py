"""Whether the calibration tape reads as one that was made to another equalisation."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._plan import Plan
from fluxbench.trade import (
    EQUALISATION_STANDARDS,
    Equalisation,
    pitch,
    spacing_loss_db,
    wavelength_um,
)

F64 = NDArray[np.float64]

LOWEST_HZ = 400.0
"""Below it heads have bumps and dips of their own."""
LEAST_TONES = 3
LEAST_DB = 0.8
TIMES = 4.0
"""The tracks show the other standard's shape by so many standard errors of their mean."""
OWN_SHARE, DIRT_SHARE = 0.35, 0.6
"""What is left (rms) off the other standard, at the most, as a part of what is off the plan's, and
of what is left if dirt is taken for the reason."""


@dataclass(frozen=True, slots=True)
class AnotherStandard:
    """The equalisation that the tones fit, and what they read off the plan's, by Hz in dB."""

    equalisation: Equalisation
    names: tuple[str, ...]
    off_db: Mapping[float, float]

    def __str__(self) -> str:
        named = f" ({self.names[0]})" if self.names else ""
        read = ", ".join(f"{pitch(hz)} {db:+.1f} dB" for hz, db in self.off_db.items())
        return f"it reads as one made to {self.equalisation}{named}: in the mean {read}"


def another_standard(
    plan: Plan, read_db: Mapping[int, F64], live: NDArray[np.bool_]
) -> AnotherStandard | None:
    """The other standard of this speed that the sections fit far better, if there is one.

    `read_db` is what sections (by number) read, (tracks,) in dB re 0 VU. Flux by IEC 60094-1
    clause 15; dirt and wear, which take short waves too, are told apart by their own shape. Few
    tracks prove little, since their trimmers make the same shape.
    """
    there = [s for s in plan.sections if s.number in read_db and s.frequency_hz >= LOWEST_HZ]
    reference = plan.level_section
    if reference not in there or not live.any():
        return None
    off_db = {
        s.frequency_hz: read_db[s.number][live] - plan.calibration_target_db(s)[live] for s in there
    }
    at_hz = np.array(sorted(hz for hz in off_db if hz != reference.frequency_hz))
    if len(at_hz) < LEAST_TONES:
        return None
    off = np.array([off_db[hz] - off_db[reference.frequency_hz] for hz in at_hz])
    off = off[:, np.isfinite(off).all(axis=0)]
    fits = [
        (_rms(off.mean(axis=1) - plan.reads_db(one.equalisation, at_hz)), number)
        for number, one in enumerate(EQUALISATION_STANDARDS)
        if one.speed_ips == plan.speed_ips and one.equalisation != plan.equalisation
    ]
    if off.shape[1] < 2 or not fits:
        return None
    left_db, number = min(fits)
    other, mean_db = EQUALISATION_STANDARDS[number], off.mean(axis=1)
    shape_db = plan.reads_db(other.equalisation, at_hz)
    shares = shape_db @ off / (shape_db**2).sum()
    error = float(shares.std(ddof=1)) / np.sqrt(len(shares))
    own_db, dirt_db = _rms(mean_db), _without_dirt_db(plan, at_hz, mean_db)
    if own_db - left_db < LEAST_DB or float(shares.mean()) < TIMES * error:
        return None
    if left_db > min(OWN_SHARE * own_db, DIRT_SHARE * dirt_db):
        return None
    read = dict(zip(at_hz.tolist(), mean_db.tolist(), strict=True))
    return AnotherStandard(other.equalisation, other.names, read)


def _without_dirt_db(plan: Plan, at_hz: F64, mean_db: F64) -> float:
    """What is left (rms) once as much spacing as fits best is taken for the reason."""
    reference_um = wavelength_um(plan.level_section.frequency_hz, plan.speed_ips)
    per_um_db = spacing_loss_db(1.0, wavelength_um(at_hz, plan.speed_ips))
    per_um_db = np.asarray(per_um_db - spacing_loss_db(1.0, reference_um))
    spacing_um = max(0.0, -float((per_um_db * mean_db).sum() / (per_um_db**2).sum()))
    return _rms(mean_db + spacing_um * per_um_db)


def _rms(values: F64) -> float:
    return float(np.sqrt(np.mean(values**2)))
