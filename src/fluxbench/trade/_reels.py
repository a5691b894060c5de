"""How long tape lasts, how it packs, and how fast round things turn."""

from dataclasses import dataclass

import numpy as np

from fluxbench.trade._values import Array, Values
from fluxbench.trade._waves import MM_PER_INCH, speed_mm_per_s

INCHES_PER_FOOT = 12.0
MM_PER_FOOT = INCHES_PER_FOOT * MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Reel:
    """A usual reel: its diameter, how much tape it holds, and how thick that tape is."""

    diameter_in: float
    length_ft: float
    tape_thickness_um: float
    source: str


REELS = (
    Reel(7.0, 1200, 52, "time charts page; thickness: archive rule"),
    Reel(7.0, 1800, 36, "time charts page; thickness from memory (35 to 37 um)"),
    Reel(7.0, 2400, 26, "time charts page; thickness from memory"),
    Reel(10.5, 2500, 54.1, "from memory; thickness: Handbook for Sound Engineers p. 1069"),
    Reel(10.5, 3600, 35, "encyclopaedia article on audio tape"),
    Reel(10.5, 5000, 26, "from memory"),
)
"""Lengths as sold, by reel and tape thickness."""


def playing_time_s(length_ft: Values, speed_ips: Values) -> Array:
    """Length / speed."""
    return INCHES_PER_FOOT * np.asarray(length_ft, dtype=np.float64) / speed_ips


def length_played_ft(time_s: Values, speed_ips: Values) -> Array:
    """Tape that runs past in a time."""
    return np.asarray(time_s, dtype=np.float64) * speed_ips / INCHES_PER_FOOT


def pack_radius_mm(length_ft: Values, tape_thickness_um: Values, hub_diameter_mm: float) -> Array:
    """Outer radius of a pack: R^2 = r^2 + h L / pi; air between layers adds a few per cent."""
    section_mm2 = tape_thickness_um / 1000.0 * np.asarray(length_ft) * MM_PER_FOOT
    return np.sqrt((hub_diameter_mm / 2.0) ** 2 + section_mm2 / np.pi)


def rotation_hz(speed_ips: Values, diameter_mm: Values) -> Array:
    """Turns a second of what rolls with the tape (pack, roller, capstan): v / (pi d)."""
    return MM_PER_INCH * np.asarray(speed_ips, dtype=np.float64) / (np.pi * diameter_mm)


def head_delay_ms(distance_mm: Values, speed_ips: float) -> Array:
    """Time from one head to another: distance / speed."""
    return 1000.0 * np.asarray(distance_mm, dtype=np.float64) / speed_mm_per_s(speed_ips)


def live_flutter_factor(
    flutter_frequency_hz: Values, head_distance_mm: Values, speed_ips: float
) -> Array:
    """Flutter read while recording, over the flutter that is there: 2 |sin(pi f s / v)|.

    Recording and reproducing share the motion, p(t) - p(t - s/v), so some rates vanish.
    """
    turns = flutter_frequency_hz * head_delay_ms(head_distance_mm, speed_ips) / 1000.0
    return 2.0 * np.abs(np.sin(np.pi * turns))


def scrape_resonance_hz(span_mm: Values, sound_speed_m_per_s: float = 1850.0) -> Array:
    """Lowest longitudinal resonance of a free span of tape: c / (2 span); c is from memory."""
    return 1000.0 * sound_speed_m_per_s / (2.0 * np.asarray(span_mm, dtype=np.float64))
