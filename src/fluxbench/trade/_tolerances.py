"""Tolerances people work to: defaults to be edited; common practice, no source."""

from dataclasses import dataclass

from fluxbench.base import MisuseError


@dataclass(frozen=True, slots=True)
class LevelTolerance:
    """Bands around a target, each plus and minus: hold (stop turning), set, accept."""

    hold_db: float
    set_db: float
    accept_db: float


@dataclass(frozen=True, slots=True)
class AzimuthTolerance:
    """Bands around upright, each plus and minus, to the calibration tape in use."""

    set_arcmin: float
    accept_arcmin: float


@dataclass(frozen=True, slots=True)
class Tolerances:
    """What "in" and "near" mean for each quantity; every band is plus and minus."""

    level: LevelTolerance = LevelTolerance(0.05, 0.1, 0.25)
    high_end: LevelTolerance = LevelTolerance(0.12, 0.25, 0.5)
    over_bias: LevelTolerance = LevelTolerance(0.15, 0.25, 0.5)
    response_db: float = 2.0
    response_low_hz: float = 60.0
    response_high_hz: float = 15_000.0
    speed_percent: float = 0.2
    flutter_2_sigma_percent: float = 0.06
    """Weighted, at 15 ips."""
    noise_db: float = -50.0
    """A-weighted, of one track re operating level, at most; from memory, to be edited."""
    third_harmonic_percent: float = 1.0
    """Of 1 kHz at operating level, at most; from memory, to be edited."""
    crosstalk_db: float = -45.0
    """Of both neighbours at 1 kHz, at most; from memory, to be edited."""
    erasure_db: float = -65.0
    """What recording silence may leave of 1 kHz at operating level, re that; common practice."""
    return_flutter_percent: float = 0.12
    """Weighted 2 sigma of a tone recorded and played at once, at most: twice what is accepted of a
    speed tape, since both count. No standard has a limit for it; to be edited."""
    maximum_output_db: float = 4.8
    """Output at 3 % third harmonic, re operating level, at least: what 1 % at operating level makes
    of a bend of third order; to be edited."""


AZIMUTH_SET_ARCMIN = {6.3: 1.0, 12.6: 0.5, 25.3: 0.3, 50.7: 0.2}
"""Set band of azimuth by tape width in mm (1/4, 1/2, 1 and 2 inch); accepted is twice that."""


def azimuth_tolerance(tape_width_mm: float) -> AzimuthTolerance:
    """Bands for a tape width, which may differ by 2 % from the usual ones (slit or nominal)."""
    for known_mm, set_arcmin in AZIMUTH_SET_ARCMIN.items():
        if abs(tape_width_mm - known_mm) <= 0.02 * known_mm:
            return AzimuthTolerance(set_arcmin, 2.0 * set_arcmin)
    widths = ", ".join(f"{known_mm:g}" for known_mm in AZIMUTH_SET_ARCMIN)
    raise MisuseError(
        f"no azimuth tolerance is known for tape {tape_width_mm:g} mm wide; use {widths} mm"
    )
