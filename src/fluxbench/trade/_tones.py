"""The tones of a line-up and the arithmetic of their targets; common practice, no source.

At 15 ips bias and the record high end are set with 10 kHz, record level with 1 kHz, at +4 dBu,
which is 0 VU.
"""

from dataclasses import dataclass

from fluxbench.base import MisuseError
from fluxbench.trade._waves import frequency_hz

LEVEL_HZ = 1000.0
"""Reproduce and record level; some calibration tapes have 700 or 500 Hz instead."""
HIGH_END_HZ = 10_000.0
"""Reproduce and record high end, and azimuth at 15 ips and above."""
MAINS_HZ = (50.0, 60.0)
"""Of the world's mains supplies."""
HUM_HZ = (50.0, 60.0, 100.0, 120.0, 150.0, 180.0)
"""Where hum lies: the mains and its second and third harmonic."""
LOW_END_HZ = (30.0, 300.0)
"""The low end is fitted over this band: a single 100 Hz tone stands on the bump's flank."""

BIAS_WAVELENGTH_UM = 38.1
"""10 kHz at 15 ips, for a stock whose sheet names no tone."""
BIAS_LEVEL_DB = -20.0
"""Re operating level, at every speed: at 0 dB compression hides half of the fall."""
COMPANION_WAVES = 10.0
"""The companion of the bias tone is this many times as long."""
COMPANION_RE_BIAS_DB = -10.0
"""The companion's level re the bias tone."""


def bias_frequency_hz(speed_ips: float) -> float:
    """The tone to set bias with where the sheet names none: 38.1 um on tape."""
    return float(frequency_hz(BIAS_WAVELENGTH_UM, speed_ips))


def companion_frequency_hz(bias_frequency_hz: float) -> float:
    """The long wave that is sent with a bias tone."""
    return bias_frequency_hz / COMPANION_WAVES


def azimuth_frequency_hz(speed_ips: float) -> float:
    """10 kHz at 15 ips and above, 5 kHz below: neighbours stay within half a turn."""
    return HIGH_END_HZ if speed_ips >= 15.0 else HIGH_END_HZ / 2.0


def over_bias_target_db(peak_db: float, over_bias_db: float) -> float:
    """What the meter reads when bias is right: peak -0.5 with an over-bias of 4 gives -4.5."""
    return peak_db - over_bias_db


LINE_UP_SPEEDS_IPS = (30.0, 15.0, 7.5, 3.75)
"""Speeds of open reels for which line-up tones are known."""
AZIMUTH_PRINT_HZ = 16_000.0
"""Printed for the azimuth of whoever plays the reel: 15 or 16 kHz, of which 16 kHz is a preferred
frequency of ISO 266. The longer tones before it count its whole turns."""
SLATE_HZ = 250.0
"""Low enough to be told from every tone, high enough for a small loudspeaker; our choice."""
SLATE_LEVEL_DB = -20.0
"""Re operating level; our choice."""


@dataclass(frozen=True, slots=True)
class LineUpTone:
    """One tone printed at the head of a reel, on all tracks at once."""

    frequency_hz: float
    level_db: float
    """Re operating level."""
    duration_s: float


def line_up_tones(speed_ips: float, duration_s: float = 30.0) -> tuple[LineUpTone, ...]:
    """1 kHz, 10 kHz, 100 Hz, and 16 kHz for azimuth; short waves at -10 dB at 7.5 ips and below.

    Below 7.5 ips there is no 16 kHz: 10 kHz serves azimuth there. Order and length, of which 30 s
    is the least: public guides of mastering studios; the rest: common practice, no source.
    `MisuseError` names the speeds there are.
    """
    if speed_ips not in LINE_UP_SPEEDS_IPS:
        known = ", ".join(f"{known_ips:g}" for known_ips in LINE_UP_SPEEDS_IPS)
        raise MisuseError(f"no line-up tones are known for {speed_ips:g} in/s; use {known}")
    high_db = 0.0 if speed_ips > 7.5 else -10.0
    tones = [(LEVEL_HZ, 0.0), (HIGH_END_HZ, high_db), (100.0, 0.0)]
    if speed_ips >= 7.5:
        tones.append((AZIMUTH_PRINT_HZ, high_db))
    return tuple(LineUpTone(tone_hz, level_db, duration_s) for tone_hz, level_db in tones)
