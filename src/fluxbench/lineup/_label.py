"""Label against tones of a reel: which equalisations its tones fit, and what they cannot prove."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.lineup._plan import F64, Plan, Section
from fluxbench.trade import EQUALISATION_STANDARDS, Equalisation, pitch

FITS_DB = 1.0
"""Tones nearer than this to what a standard asks for fit it; common practice, no source."""
LONG_HZ, LONG_FITS_DB = 200.0, 2.0
"""Long waves stand on the head's contour: they tell less."""
USUAL_S = 30.0
"""How long a line-up tone lasts; common practice, no source."""
TOLD_APART_DB = 1.0
"""Standards that differ by less than this at every tone that was played cannot be told apart."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ReelLabel:
    """What the label of a reel says; the levels of its tones are re its fluxivity."""

    equalisation: Equalisation
    fluxivity_nwb_per_m: float
    tones: tuple[Section, ...]


def label_from_told(told: Mapping[str, Any]) -> ReelLabel:
    """A label from plain values; MisuseError with one line for what cannot be one.

    `equalisation` holds `t1_us` (or None) and `t2_us`, each of `tones` `frequency_hz`, `level_db`
    (re the label's fluxivity; 0 if left out) and `seconds` (30 if left out), in their order.
    """
    try:
        tones = tuple(
            Section(
                number,
                float(tone["frequency_hz"]),
                float(tone.get("level_db") or 0.0),
                float(tone.get("seconds") or USUAL_S),
            )
            for number, tone in enumerate(told["tones"])
        )
        constants = told["equalisation"]
        equalisation = Equalisation(constants["t1_us"], float(constants["t2_us"]))
        fluxivity = float(told["fluxivity_nwb_per_m"])
    except KeyError as missing:
        raise MisuseError(f"the reel's label does not tell {missing.args[0]!r}") from None
    except (TypeError, ValueError, AttributeError) as error:
        raise MisuseError(f"the reel's label cannot be used: {error}") from None
    if not 10.0 <= fluxivity <= 2000.0:
        raise MisuseError(f"a reel's fluxivity goes from 10 to 2000 nWb/m, not {fluxivity:g}")
    for tone in tones:
        if not (10.0 <= tone.frequency_hz <= 22_000.0 and -40.0 <= tone.level_db <= 20.0):
            raise MisuseError(
                "a tone of a reel lies from 10 Hz to 22 kHz and from -40 to +20 dB, not at"
                f" {pitch(tone.frequency_hz)} and {tone.level_db:g} dB"
            )
    return ReelLabel(equalisation, fluxivity, tones)


@dataclass(frozen=True, slots=True)
class Fit:
    """What the tones read off an equalisation, by frequency in Hz, in dB re the reference tone."""

    names: tuple[str, ...]
    """Empty where the label's equalisation has no name at this speed."""
    equalisation: Equalisation
    off_db: Mapping[float, float]
    on_label: bool

    @property
    def worst_db(self) -> float:
        """The greatest difference, long waves weighed less; 0 with no tone but the reference."""
        shares = [abs(db) * FITS_DB / _fits_db(hz) for hz, db in self.off_db.items()]
        return max(shares, default=0.0)

    @property
    def fits(self) -> bool:
        return self.worst_db <= FITS_DB

    @property
    def told(self) -> str:
        """The equalisation in words."""
        named = f" ({self.names[0]})" if self.names else ""
        return f"{self.equalisation}{named}"


@dataclass(frozen=True, slots=True)
class Judged:
    """Label against tones; `fits` holds the label first, then other standards by nearness."""

    fits: tuple[Fit, ...]
    fluxivity_nwb_per_m: float
    """What the reference tone reads on this deck as it was lined up last, mean of all tracks."""
    words: tuple[str, ...]
    contradicts: bool


def judge_label(
    label: ReelLabel, plan: Plan, read_db: Mapping[int, F64], live: NDArray[np.bool_]
) -> Judged:
    """Compare what the tones read (by section, (tracks,), dB re 0 VU) with every standard.

    It takes the deck to be as its last line-up left it: flat on the plan's equalisation, operating
    fluxivity at 0 VU. What the label's fluxivity is read as rests on that too. Flux by IEC 60094-1
    clause 15; the median of the live tracks, since one track may be off for its own reasons.
    """
    reference = plan.level_section
    there = {s: np.asarray(read_db[s.number])[live] for s in label.tones if s.number in read_db}
    base = there[reference]
    against_db = {
        s.frequency_hz: float(np.nanmedian(level - base)) - (s.level_db - reference.level_db)
        for s, level in there.items()
        if s.frequency_hz != reference.frequency_hz
    }
    standards = {s.equalisation: s.names for s in EQUALISATION_STANDARDS
                 if s.speed_ips == plan.speed_ips}  # fmt: skip
    label_fit = _fit(label.equalisation, standards, plan, against_db, on_label=True)
    others = [_fit(e, standards, plan, against_db, on_label=False)
              for e in standards if e != label.equalisation]  # fmt: skip
    others.sort(key=lambda fit: fit.worst_db)
    off_db = float(np.nanmean(base)) - reference.level_db
    flux = plan.operating_nwb_per_m * 10.0 ** (off_db / 20.0)
    words, contradicts = _words(label_fit, others)
    return Judged((label_fit, *others), flux, words, contradicts)


def _fit(
    equalisation: Equalisation,
    standards: Mapping[Equalisation, tuple[str, ...]],
    plan: Plan,
    against_db: Mapping[float, float],
    *,
    on_label: bool,
) -> Fit:
    off_db = {
        hz: read - float(plan.reads_db(equalisation, hz)) for hz, read in sorted(against_db.items())
    }
    return Fit(standards.get(equalisation, ()), equalisation, off_db, on_label)


def _words(label: Fit, others: list[Fit]) -> tuple[tuple[str, ...], bool]:
    if not label.off_db:
        return ("one tone alone proves no equalisation",), False
    if label.fits:
        near = [f.told for f in others if f.fits and _apart_db(f, label) < TOLD_APART_DB]
        words = [f"the tones fit the label: {label.told}, {_told(label)}"]
        if near:
            words.append(f"these tones cannot tell it from {', '.join(near)}")
        return tuple(words), False
    words = [f"label and tones cannot both be true: against {label.told} they read {_told(label)}"]
    fitting = [f for f in others if f.fits]
    if fitting:
        words.append(f"they fit {' or '.join(f.told for f in fitting)}, {_told(fitting[0])}")
    else:
        nearest = f"; nearest is {others[0].told}, {_told(others[0])}" if others else ""
        words.append(
            f"they fit no standard of this speed{nearest}: azimuth, dirt, another speed or the"
            " machine that recorded them may be why"
        )
    return tuple(words), True


def _apart_db(one: Fit, other: Fit) -> float:
    return max(abs(one.off_db[hz] - other.off_db[hz]) for hz in one.off_db)


def _told(fit: Fit) -> str:
    return ", ".join(f"{pitch(hz)} {db:+.1f} dB" for hz, db in fit.off_db.items())


def _fits_db(frequency_hz: float) -> float:
    return LONG_FITS_DB if frequency_hz < LONG_HZ else FITS_DB
