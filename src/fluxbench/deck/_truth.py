"""How far a deck is from the ideal, from its own formulas, and the settings that would be ideal."""

from collections.abc import Mapping

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from fluxbench.deck._chain import Responses, bend, flux_shape
from fluxbench.deck._lowend import contour_sections, shelf_section
from fluxbench.deck._machine import Head, Machine
from fluxbench.deck._record import LEAK, bias_at_head_db
from fluxbench.deck._sheets import sheet_over_bias_db
from fluxbench.deck._stocks import Stock
from fluxbench.deck._trimmers import OTHER_SPANS_DB, PER_STACK, PER_TRACK
from fluxbench.trade import bias_frequency_hz

F64 = NDArray[np.float64]
Settings = Mapping[str, F64]

LOW_HZ = (40.0, 50.0, 63.0, 80.0, 100.0, 125.0)
LEVEL_HZ = 1000.0
HIGH_HZ = 10_000.0
AT_HZ = np.array([*LOW_HZ, LEVEL_HZ, HIGH_HZ])
_LEVEL, _HIGH = len(LOW_HZ), len(LOW_HZ) + 1


def decibels(ratio: NDArray[np.complex128] | F64) -> F64:
    """20 lg of the size of a ratio."""
    return np.asarray(20.0 * np.log10(np.abs(ratio)))


def bent_fundamental(drive: F64, bent: F64) -> F64:
    """Fundamental of tanh(B a sin)/B, by the Fourier integral over one turn."""
    angle = np.linspace(0.0, 2.0 * np.pi, 128, endpoint=False)
    wave = np.tanh(np.multiply.outer(np.sin(angle), drive * bent)) / bent
    return np.asarray(2.0 * np.mean(wave * np.sin(angle)[:, np.newaxis], axis=0))


def _bump(machine: Machine, head: Head) -> NDArray[np.complex128]:
    """What the contour of a head does to each of AT_HZ, one column."""
    contour = contour_sections(machine.rate_hz, machine.speed_ips, head.pole_mm)
    return np.asarray(scipy.signal.freqz_sos(contour, AT_HZ, fs=machine.rate_hz)[1][:, np.newaxis])


class Truth:
    """Residuals of one deck with one stock: noise-free, nominal contact, actual minus ideal."""

    def __init__(self, machine: Machine, stock: Stock) -> None:
        self._machine = machine
        self._stock = stock
        self._responses = Responses(machine, stock, AT_HZ)
        self._ideal_flux = flux_shape(machine.equalisation, AT_HZ)[:, np.newaxis]
        self._all = np.arange(machine.tracks)
        shelf = shelf_section(machine.rate_hz)
        self._shelf = scipy.signal.freqz_sos(shelf, AT_HZ, fs=machine.rate_hz)[1][:, np.newaxis]
        self._bumps = {
            head.name: _bump(machine, head) for head in (machine.reproduce, machine.sync)
        }
        self._wave_um = machine.speed_um_per_s / bias_frequency_hz(machine.speed_ips)

    def bias_db(self, settings: Settings) -> F64:
        """Bias at each head with all tracks ready."""
        every = np.ones(self._machine.tracks, np.bool_)
        return bias_at_head_db(self._machine, settings["bias"], every)

    def residual(self, settings: Settings) -> dict[str, F64]:
        """All residuals of the rehearsal's schema, an array each."""
        machine, stock = self._machine, self._stock
        bias_db = self.bias_db(settings)
        over_db = stock.over_bias_db(self._wave_um, bias_db, machine.record_gap_um)
        flux, at_operating_db = self._flux(settings, bias_db)
        zero = np.zeros(machine.tracks)
        played = self._played(
            machine.reproduce,
            settings["reproduce_level"],
            settings["reproduce_high"],
            settings["reproduce_low"],
            float(settings["reproduce_azimuth"][0]),
        )
        synced = self._played(
            machine.sync,
            settings["sync_level"],
            settings["sync_high"],
            zero,
            float(settings["record_azimuth"][0]),
        )
        own_db = flux + played
        return {
            "over_bias_db": over_db - sheet_over_bias_db(machine, stock),
            "record_level_db": at_operating_db,
            "record_high_db": flux[_HIGH],
            "reproduce_level_db": played[_LEVEL],
            "reproduce_high_db": played[_HIGH],
            "sync_level_db": synced[_LEVEL],
            "sync_high_db": synced[_HIGH],
            "low_end_db": own_db[:_LEVEL].mean(axis=0) - own_db[_LEVEL],
            "reproduce_azimuth_arcmin": settings["reproduce_azimuth"],
            "record_azimuth_arcmin": settings["record_azimuth"],
        }

    def _flux(self, settings: Settings, bias_db: F64) -> tuple[F64, F64]:
        """Small signals re the standard flux (frequencies, tracks); 1 kHz at operating level."""
        level_db = settings["record_level"] + self._machine.record_efficiency_db
        pre = np.abs(self._responses.record_pre(level_db, settings["record_high"], bias_db))
        post = self._responses.record_post(bias_db)
        loud = bent_fundamental(pre[_LEVEL], bend(self._stock, bias_db)) * post[_LEVEL]
        return decibels(pre * post / self._ideal_flux), decibels(loud)

    def _played(
        self, head: Head, level_db: F64, high_db: F64, low_db: F64, slant_arcmin: float
    ) -> F64:
        """Output for the standard flux of operating level, re 0 VU, (frequencies, tracks)."""
        trimmed = 1.0 + (10.0 ** (low_db / 20.0) - 1.0) * self._shelf
        played = self._responses.reproduce(head, level_db, high_db, slant_arcmin, self._all)
        return decibels(played * self._ideal_flux * self._bumps[head.name] * trimmed)

    def ideal(self) -> dict[str, F64]:
        """Settings with no residual: bias in closed form, the rest by going after what is left."""
        machine, stock = self._machine, self._stock
        tracks = machine.tracks
        drop_db = sheet_over_bias_db(machine, stock)
        wanted_db = stock.bias_for_over_bias(self._wave_um, drop_db, machine.record_gap_um)
        leak = np.eye(tracks) + LEAK * (np.eye(tracks, k=1) + np.eye(tracks, k=-1))
        current = np.linalg.solve(leak, np.full(tracks, 10.0 ** (wanted_db / 20.0)))
        settings = {kind: np.zeros(tracks) for kind in PER_TRACK}
        settings |= {kind: np.zeros(1) for kind in PER_STACK}
        settings["bias"] = decibels(current) - machine.bias_efficiency_db
        for _ in range(60):
            left = self.residual(settings)
            for side in ("record", "reproduce", "sync"):
                level_db, high_db = left[f"{side}_level_db"], left[f"{side}_high_db"]
                settings[f"{side}_level"] = settings[f"{side}_level"] - level_db
                wanted = settings[f"{side}_high"] - 0.7 * (high_db - level_db)
                settings[f"{side}_high"] = np.clip(wanted, -OTHER_SPANS_DB, OTHER_SPANS_DB)
            settings["reproduce_low"] = settings["reproduce_low"] - left["low_end_db"]
        return settings
