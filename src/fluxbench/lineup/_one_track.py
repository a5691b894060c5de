"""A head of one live track set upright on the bench: which wave, and what is told of it."""

import numpy as np

from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._upright import FALL_DB, Upright
from fluxbench.trade import RADIANS_PER_ARCMIN, azimuth_loss_db, pitch, preferred_hz, wavelength_um

REACH_ARCMIN = 12.0
"""Screws reach so far and further (from memory)."""
FIRST_NULL_ARCMIN = 11.0
"""No shorter wave is used than one that gives nothing so far off: beyond it stand false tops."""
FALSE_TOP_DB = 9.0
"""A top so far below what is expected may be one of them: sinc has 13.3 dB there."""
HIGHEST_HZ = 16_000.0
SECTION_S = 15.0


def shortest_hz(plan: Plan) -> float:
    """The highest frequency for this: short waves tell most, too short ones have false tops."""
    least_um = 1000.0 * plan.width_mm * np.tan(RADIANS_PER_ARCMIN * FIRST_NULL_ARCMIN)
    um_per_s = float(wavelength_um(1.0, plan.speed_ips))
    highest = min(HIGHEST_HZ, um_per_s / float(least_um))
    return preferred_hz(1000.0, highest * 1.001)[-1]


def short_section(plan: Plan) -> Section:
    """The shortest wave of the calibration tape that may be used, of a section long enough."""
    highest = shortest_hz(plan) * 1.001
    fits = [
        s
        for s in plan.sections
        if highest / 4.0 <= s.frequency_hz <= highest and s.seconds >= SECTION_S
    ]
    return max(fits, key=lambda s: (s.frequency_hz, s.seconds), default=plan.azimuth_section)


def one_track_azimuth(bench: Bench, trimmer: str, expected_db: float) -> Procedure:
    """Have the screw of a stack turned until its only live track gives most of the tone.

    The tone is expected to come back at about `expected_db` re 0 VU.
    """
    return (yield from bench.step(f"turn {trimmer}", _set(bench, trimmer, expected_db)))


def _set(bench: Bench, trimmer: str, expected_db: float) -> Procedure:
    plan, name, frequency_hz = bench.plan, trimmer.replace("_", " "), bench.tones[0]
    length_um = float(wavelength_um(frequency_hz, plan.speed_ips))
    if azimuth_loss_db(REACH_ARCMIN, plan.width_mm, length_um) < FALL_DB:
        bench.note(
            f"{name} is not set: an angle takes two tracks to read, and one of"
            f" {plan.width_mm:.1f} mm is too narrow for {pitch(frequency_hz)} to tell"
        )
        return
    screw = Upright(trimmer, plan.width_mm, length_um, bench.shown_lag_s)
    while screw.found is None:
        if bench.passed_over(trimmer, None):
            screw.failed = "it was passed over"
        if screw.failed or not bench.live.any():
            bench.advise(None)
            bench.note(f"{name} is not set by the greatest output: {screw.failed or 'no track'}")
            return
        point = yield from bench.point()
        advice = screw.add(float(point.level_db[0, np.flatnonzero(bench.live)[0]]))
        bench.advise(advice, 0, 1)
    bench.advise(None)
    found = screw.found
    if found.peak.level_db < expected_db - FALSE_TOP_DB:
        bench.note(
            f"{name}: the greatest {pitch(frequency_hz)} that was found lies"
            f" {expected_db - found.peak.level_db:.0f} dB too low, as a false top does far off the"
            " true one; turn the screw by some turns, and do this stage again"
        )
    bench.write(
        "as left", trimmer=trimmer, arcmin=np.nan, error_arcmin=found.error_arcmin,
        by="greatest output", frequency_hz=frequency_hz, peak_db=found.peak.level_db,
        peak_error_db=found.peak.error_db, below_db=found.below_db,
        below_error_db=found.below_error_db,
    )  # fmt: skip
