"""What is on the calibration tape, and what the papers that come with the tapes say."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._machine import Machine
from fluxbench.deck._stocks import WORKING_BIAS_DB, Stock
from fluxbench.trade import (
    EQUALISATION_STANDARDS,
    RADIANS_PER_ARCMIN,
    Equalisation,
    bias_frequency_hz,
    fringing_rise_db,
    playing_time_s,
)

F64 = NDArray[np.float64]

CALIBRATION_NWB_PER_M = 250.0
WRONG_NWB_PER_M = 320.0
STOCK_FT = 2500.0
BETWEEN_S = 2.0
SPOT_S = 8.0
SPOTS_HZ = (31.5, 63, 125, 250, 500, 2000, 4000, 8000, 12_500, 16_000, 20_000)


@dataclass(frozen=True, slots=True)
class Section:
    """One tone of a calibration tape, level re its fluxivity and on the equalisation."""

    start_s: float
    seconds: float
    frequency_hz: float
    level_db: float

    @property
    def end_s(self) -> float:
        return self.start_s + self.seconds


def sections(speed_ips: float) -> tuple[Section, ...]:
    """The tones of the calibration tape of a speed, in order; short waves at −10 dB when slow."""
    slow = speed_ips < 15.0
    high_hz = 16_000.0 if not slow else (10_000.0 if speed_ips >= 7.5 else 8000.0)
    plan = [(1000.0, 0.0, 30.0), (high_hz, -10.0 if slow else 0.0, 20.0)]
    plan += [(10_000.0, -10.0 if slow else 0.0, 30.0), (1000.0, 0.0, 15.0)]
    plan += [(float(hz), -10.0 if slow else 0.0, SPOT_S) for hz in SPOTS_HZ]
    found: list[Section] = []
    start_s = 0.5
    for frequency_hz, level_db, seconds in plan:
        found.append(Section(start_s, seconds, frequency_hz, level_db))
        start_s += seconds + BETWEEN_S
    return tuple(found)


REEL_NWB_PER_M = 320.0
"""What the label of the reel from elsewhere says, and is true."""


def reel_tones(speed_ips: float) -> tuple[Section, ...]:
    """The line-up tones at the head of a reel from elsewhere; short waves at -10 dB when slow."""
    short_db = -10.0 if speed_ips < 15.0 else 0.0
    plan = [(1000.0, 0.0), (10_000.0, short_db), (100.0, 0.0)]
    return tuple(
        Section(4.0 + 33.0 * number, 30.0, hz, level_db)
        for number, (hz, level_db) in enumerate(plan)
    )


class ReelFlux:
    """The flux of the tones of a reel that another studio's machine recorded."""

    def __init__(
        self,
        machine: Machine,
        recorded_to: Equalisation,
        operating_db: float,
        azimuth_arcmin: float,
    ) -> None:
        self._tones = reel_tones(machine.speed_ips)
        self._level_db = [
            tone.level_db + operating_db + float(recorded_to.flux_re_db(tone.frequency_hz))
            for tone in self._tones
        ]
        across_um = 1000.0 * machine.layout.positions_mm
        self.azimuth_arcmin = azimuth_arcmin
        self._late_s = (
            -across_um * np.tan(RADIANS_PER_ARCMIN * azimuth_arcmin) / machine.speed_um_per_s
        )

    def at(self, place_s: F64) -> NDArray[np.float32]:
        """Flux (frames, tracks) at places on the tape, in seconds from its begin."""
        flux = np.zeros((len(place_s), len(self._late_s)), np.float32)
        for tone, level_db in zip(self._tones, self._level_db, strict=True):
            if tone.start_s > place_s.max() or tone.end_s < place_s.min():
                continue
            since = place_s - tone.start_s
            edge = np.clip(np.minimum(since, tone.end_s - place_s) / 0.005, 0.0, 1.0)
            turns = tone.frequency_hz * (since[:, np.newaxis] - self._late_s)
            wave = np.sin(2.0 * np.pi * turns) * edge[:, np.newaxis]
            flux += (10.0 ** (level_db / 20.0) * wave).astype(np.float32)
        return flux


class CalibrationFlux:
    """The flux of an untouched calibration tape as each core meets it."""

    def __init__(self, machine: Machine, tones: tuple[Section, ...], operating_db: float) -> None:
        self._tones = tones
        layout, speed = machine.layout, machine.speed_ips
        sides = [layout.free_sides_to_mid_guard_mm(t + 1) for t in range(layout.tracks)]
        side_1 = np.array([max(s[0], 1e-6) for s in sides])
        side_2 = np.array([max(s[1], 1e-6) for s in sides])
        standard = machine.equalisation
        if machine.faults.wrong_tape_equalisation:
            standard = other_equalisation(machine)
        self._stretch = 2.0 if machine.faults.wrong_tape_speed else 1.0
        self._end_s = tones[-1].end_s if machine.faults.wrong_tape_upside_down else None
        self._amplitude = []
        for tone in tones:
            hz = tone.frequency_hz * self._stretch
            level = tone.level_db + operating_db + float(standard.flux_re_db(tone.frequency_hz))
            rise = fringing_rise_db(hz, speed, layout.track_width_mm, side_1, side_2)
            self._amplitude.append(10.0 ** ((level + rise) / 20.0))

    def at(self, place_s: F64) -> NDArray[np.float32]:
        """Flux (frames, tracks) at places on the tape, in seconds from its begin."""
        if self._end_s is not None:
            place_s = self._end_s - place_s
        flux = np.zeros((len(place_s), len(self._amplitude[0])), np.float32)
        low, high = place_s.min(), place_s.max()
        for tone, size in zip(self._tones, self._amplitude, strict=True):
            start_s, end_s = tone.start_s / self._stretch, tone.end_s / self._stretch
            if start_s > high or end_s < low:
                continue
            since = place_s - start_s
            wave = np.sin(2.0 * np.pi * tone.frequency_hz * self._stretch * since)
            edge = np.clip(np.minimum(since, end_s - place_s) / 0.005, 0.0, 1.0)
            flux += (wave * edge).astype(np.float32)[:, np.newaxis] * size.astype(np.float32)
        return flux


def calibration_sheet(tones: tuple[Section, ...]) -> dict[str, Any]:
    """The sheet of the calibration tape, as the deck's controls show it."""
    return {
        "tape": "calibration",
        "fluxivity_nwb_per_m": CALIBRATION_NWB_PER_M,
        "reference_frequency_hz": 1000.0,
        "width": "full",
        "fringing_compensated": "no",
        "sections": [
            {
                "section": number,
                "start_s": tone.start_s,
                "seconds": tone.seconds,
                "frequency_hz": tone.frequency_hz,
                "level_db": tone.level_db,
            }
            for number, tone in enumerate(tones)
        ],
    }


def reel_label(machine: Machine) -> dict[str, Any]:
    """What the label of the reel from elsewhere says; its equalisation need not be true."""
    standard = machine.equalisation
    return {
        "tape": "reel",
        "fluxivity_nwb_per_m": REEL_NWB_PER_M,
        "equalisation": {"t1_us": standard.t1_us, "t2_us": standard.t2_us},
        "tones": [
            {"frequency_hz": tone.frequency_hz, "level_db": tone.level_db, "seconds": tone.seconds}
            for tone in reel_tones(machine.speed_ips)
        ],
    }


def reel_recorded_to(machine: Machine) -> Equalisation:
    """What the reel was recorded to: what its label says, or another standard of that speed."""
    return other_equalisation(machine) if machine.faults.wrong_label else machine.equalisation


def other_equalisation(machine: Machine) -> Equalisation:
    """Another standard of the deck's speed."""
    return next(
        s.equalisation
        for s in EQUALISATION_STANDARDS
        if s.speed_ips == machine.speed_ips and s.equalisation != machine.equalisation
    )


def sheet_over_bias_db(machine: Machine, stock: Stock) -> float:
    """Over-bias of a stock at its working point for the sheet's tone, to a tenth."""
    wave_um = machine.speed_um_per_s / bias_frequency_hz(machine.speed_ips)
    bias_db = stock.bias_long_db + WORKING_BIAS_DB
    return round(float(stock.over_bias_db(wave_um, bias_db, machine.record_gap_um)), 1)


def stock_sheet(machine: Machine, stock: Stock) -> dict[str, Any]:
    """The data sheet of a stock, computed from the model of the stock."""
    bias_db = stock.bias_long_db + WORKING_BIAS_DB
    h3 = float(stock.third_harmonic(bias_db))
    return {
        "tape": "stock",
        "over_bias_db": sheet_over_bias_db(machine, stock),
        "over_bias_frequency_hz": round(bias_frequency_hz(machine.speed_ips)),
        "over_bias_level_db": -20,
        "record_gap_um": machine.record_gap_um,
        "speed_ips": machine.speed_ips,
        "third_harmonic_percent_at_320": round(100.0 * h3, 2),
        "noise_a_db_re_320_1_mm_15_ips": stock.noise_a_db,
        "length_ft": STOCK_FT,
    }


def stock_seconds(speed_ips: float) -> float:
    """Playing time of a reel of stock."""
    return float(playing_time_s(STOCK_FT, speed_ips))
