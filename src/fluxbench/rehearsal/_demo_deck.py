"""A deck of the demo book over two years: the practice deck's physics, one visit after another."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck import Truth, build_machine, stock_named
from fluxbench.trade import Tolerances

F64 = NDArray[np.float64]
Settings = dict[str, F64]

WANDER_DB_PER_ROOT_DAY = 0.0015
WANDER_ARCMIN_PER_ROOT_DAY = 0.004
OF_A_DAY_DB = 0.012
ERROR_DB = {"level": 0.01, "high": 0.016, "low": 0.03, "bias": 0.02}
ERROR_ARCMIN = 0.02
OVERSHOOT = 0.2
"""How far a hand stops from where it aims, as a part of the way (one sigma)."""
ARCMIN = ("reproduce_azimuth", "record_azimuth")
HOLD_ARCMIN = 0.05
RESIDUAL = {"bias": "over_bias_db", "reproduce_low": "low_end_db"}


@dataclass(slots=True)
class Changes:
    """What happens to a deck between two visits or on the day, beside its own wandering."""

    worn_um: F64 | float = 0.0
    """How much farther the tape runs from the reproduce head, for it is worn."""
    dirt_um: float = 0.0
    """On the reproduce head until it is cleaned, after as found was read."""
    moved: Mapping[str, F64] = field(default_factory=dict)
    """By how much trimmers' effects moved by themselves (cards, loose heads)."""
    efficiency_db: F64 | float = 0.0
    """Another sensitivity of the reproduce head, as after a relap."""
    sensitivity_db: float = 0.0
    """Of the batch of stock, re the stock's own."""
    bias_db: float = 0.0
    """How much more bias the batch wants."""
    tape_db: tuple[float, float] = (0.0, 0.0)
    """What the calibration tape has beside its sheet: at the level tone, at the high end."""


class DemoDeck:
    """One deck with its trimmers; it reads itself with the spread of a bench."""

    def __init__(self, tracks: int, speed_ips: float, stock: str, seed: int) -> None:
        self._rng = np.random.default_rng([seed, 77])
        self._machine = build_machine(tracks, speed_ips, 48_000, np.random.default_rng([seed, 78]))
        self._stock = stock_named(stock)
        self.settings: Settings = dict(Truth(self._machine, self._stock).ideal())
        self._now = Changes()
        self._of_day_db = 0.0
        self._truth: Truth | None = None
        self._stands: Mapping[str, F64] | None = None
        self._bias_slope: F64 | None = None
        self.tracks = tracks

    def goes_by(self, days: float) -> None:
        """The trimmers wander for some days."""
        root = float(np.sqrt(days))
        for kind, values in self.settings.items():
            step = WANDER_ARCMIN_PER_ROOT_DAY if kind in ARCMIN else WANDER_DB_PER_ROOT_DAY
            self.settings[kind] = values + step * root * self._rng.standard_normal(len(values))
        self._stands = None

    def begin(self, changes: Changes) -> None:
        """A day begins, with what has happened."""
        self._now = changes
        for kind, moved in changes.moved.items():
            self.settings[kind] = self.settings[kind] + moved
        head = self._machine.reproduce
        self._machine = replace(
            self._machine,
            reproduce=replace(head, efficiency_db=head.efficiency_db + changes.efficiency_db),
        )
        self._of_day_db = OF_A_DAY_DB * float(self._rng.standard_normal())
        self._truth = self._stands = None

    def clean(self) -> None:
        """The dirt is off."""
        self._now = replace(self._now, dirt_um=0.0)
        self._truth = self._stands = None

    def read(self, kind: str) -> tuple[F64, F64]:
        """How far a trimmer's reading is off its target, and the standard errors, (tracks,) each.

        The high ends are read beyond the level, as a line-up does when it says how far to turn.
        """
        off = self._off(kind)
        spread = ERROR_ARCMIN if kind in ARCMIN else ERROR_DB[kind.rsplit("_", 1)[-1]]
        if kind not in ARCMIN and kind != "bias":
            off = off + self._of_day_db
        wrong = spread * self._rng.standard_normal(len(off))
        return off + wrong, np.full(len(off), spread)

    def trim(self, kind: str, off: F64) -> None:
        """Turn what is read beyond the hold band, with a hand's error."""
        bands = Tolerances()
        band = {"level": bands.level, "bias": bands.over_bias}.get(
            kind.rsplit("_", 1)[-1], bands.high_end
        )
        hold = HOLD_ARCMIN if kind in ARCMIN else band.hold_db
        hand = 1.0 + OVERSHOOT * 0.2 * self._rng.standard_normal(len(off))
        if not (np.abs(off) > hold).any():
            return
        way = self._bias_turn(off) if kind == "bias" else -off
        self.settings[kind] = self.settings[kind] + np.where(np.abs(off) > hold, way * hand, 0.0)
        self._stands = None

    def _bias_turn(self, off: F64) -> F64:
        """Bias that takes off what over-bias there is too much, by the slope of this stock."""
        if self._bias_slope is None:
            before, here = self.settings["bias"], self._off("bias")
            self.settings["bias"], self._stands = before + 0.1, None
            slope = (self._off("bias") - here) / 0.1
            self.settings["bias"], self._stands = before, None
            self._bias_slope = np.maximum(slope, 0.2)
        return -off / self._bias_slope

    def _residual(self) -> Mapping[str, F64]:
        """What is left to the ideal as the deck stands now, by its own formulas."""
        if self._truth is None:
            now, head, stock = self._now, self._machine.reproduce, self._stock
            away = replace(head, away_um=now.worn_um + now.dirt_um)
            batch = replace(
                stock,
                sensitivity_db=stock.sensitivity_db + now.sensitivity_db,
                bias_short_db=stock.bias_short_db + now.bias_db,
                bias_long_db=stock.bias_long_db + now.bias_db,
            )
            self._truth = Truth(replace(self._machine, reproduce=away), batch)
        if self._stands is None:
            self._stands = self._truth.residual(self.settings)
        return self._stands

    def _off(self, kind: str) -> F64:
        residual, tape_db = self._residual(), self._now.tape_db
        if kind in ARCMIN:
            return np.asarray(residual[f"{kind}_arcmin"], np.float64)
        found = residual[RESIDUAL.get(kind, f"{kind}_db")]
        level_db, high_db = tape_db if kind.startswith(("reproduce", "sync")) else (0.0, 0.0)
        if kind.endswith("_high"):
            side = kind.rsplit("_", 1)[0]
            return np.asarray(found - residual[f"{side}_level_db"] + high_db - level_db)
        return np.asarray(found + (level_db if kind.endswith("_level") else 0.0))
