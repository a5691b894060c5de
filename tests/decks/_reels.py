"""The reels that belong to the second deck: a calibration tape as sold, and blank stock."""

from __future__ import annotations

import math

import numpy as np

from tests.decks._machine import OPERATING_FLUXIVITY, RECORD_GAP_UM, Machine
from tests.decks._magnetics import Stock, flux_curve
from tests.decks._tape import PAGE, Section, Tape
from tests.decks._truth import SHEET_TONE_HZ, sheet_over_bias_db

STATED_FLUXIVITY = 250.0
REFERENCE_HZ = 1000.0
_KEPT_S = 60.0  # recorded tape that a reel remembers
_SPOTS_HZ = (16000, 14000, 12500, 10000, 8000, 6300, 4000, 2000, 1000, 500, 250, 125, 63, 40, 31.5)
_OTHER_HZ = {1000.0: 700.0, 10000.0: 8000.0, 16000.0: 12500.0, 125.0: 100.0, 4000.0: 5000.0}


def _sections(other: bool) -> tuple[Section, ...]:
    """The sections in this tape maker's order; ``other`` is a tape with different frequencies."""
    plan = [(REFERENCE_HZ, 0.0, 24.0), (10000.0, -10.0, 18.0), (16000.0, -10.0, 25.0)]
    plan += [(float(tone), -10.0, 8.0 if tone > 200 else 10.0) for tone in _SPOTS_HZ]
    plan.append((REFERENCE_HZ, 0.0, 15.0))
    sections, start_s = [], 3.0
    for tone, level_db, seconds in plan:
        real = _OTHER_HZ.get(tone, tone) if other else tone
        sections.append(Section(round(start_s, 3), seconds, real, level_db))
        start_s += seconds + 0.8
    return tuple(sections)


def _noise(machine: Machine, stock: Stock, rate_hz: int) -> float:
    return stock.noise * math.sqrt(rate_hz / 48000.0 / machine.width_mm)


def calibration_tape(
    machine: Machine,
    rate_hz: int,
    rng: np.random.Generator,
    speed_error: float,
    fluxivity_nwb_per_m: float = STATED_FLUXIVITY,
    other_sections: bool = False,
) -> Tape:
    """A full-width tape without fringing compensation; the real one may belie its sheet."""
    real, stated = _sections(other_sections), _sections(False)
    amplitude = [
        10.0 ** (section.level_db / 20.0)
        * (fluxivity_nwb_per_m / OPERATING_FLUXIVITY)
        * flux_curve(np.array(section.frequency_hz), machine.t2_us)
        * machine.fringing(section.frequency_hz)
        for section in real
    ]
    listed = [
        {
            "section": number,
            "start_s": section.start_s,
            "seconds": section.seconds,
            "frequency_hz": section.frequency_hz,
            "level_db": section.level_db,
        }
        for number, section in enumerate(stated)
    ]
    tape = Tape(
        name="calibration",
        sheet={
            "tape": "calibration",
            "fluxivity_nwb_per_m": STATED_FLUXIVITY,
            "reference_frequency_hz": REFERENCE_HZ,
            "width": "full",
            "fringing_compensated": "no",
            "sections": listed,
        },
        tracks=machine.tracks,
        rate_hz=rate_hz,
        seconds=stated[-1].start_s + stated[-1].seconds + 6.0,
        noise=_noise(machine, Stock(), rate_hz),
        rng=rng,
        sections=real,
        amplitude=amplitude,
        speed_error=speed_error,
    )
    tape.scatter_drop_outs(np.full(machine.tracks, 0.1))
    return tape


def blank_reel(
    name: str, stock: Stock, machine: Machine, rate_hz: int, rng: np.random.Generator
) -> Tape:
    """2500 ft of a stock with the maker's sheet."""
    tape = Tape(
        name=name,
        sheet={
            "tape": name,
            "over_bias_db": sheet_over_bias_db(stock, machine.speed_ips),
            "over_bias_frequency_hz": SHEET_TONE_HZ,
            "over_bias_level_db": -20,
            "record_gap_um": RECORD_GAP_UM,
            "speed_ips": machine.speed_ips,
            "length_ft": 2500,
        },
        tracks=machine.tracks,
        rate_hz=rate_hz,
        seconds=2500.0 * 12.0 / machine.speed_ips,
        noise=_noise(machine, stock, rate_hz),
        rng=rng,
        stock=stock,
        most_pages=int(_KEPT_S * rate_hz / PAGE),
    )
    often = np.full(machine.tracks, 0.15)
    often[[0, -1]] = 0.8
    tape.scatter_drop_outs(often)
    return tape
