"""Print-through: the copy that a layer of tape leaves in the next one on the reel.

Reels are kept tails out: the echo after a loud passage is masked by it and the echo before is not,
and tails out makes the later one the stronger (common practice, no source; that the earlier is the
weaker stored so: NAB storage advice). Levels differ with tape, time and heat, so only the shape
over wavelength is given here.
"""

import numpy as np

from fluxbench.trade._values import Array, Values, decibels
from fluxbench.trade._waves import frequency_hz, speed_mm_per_s


def print_through_shape_db(wavelength_um: Values, tape_thickness_um: Values) -> Array:
    """Print-through re its worst wavelength: k h exp(1 - k h), h the whole thickness (derived)."""
    kh = 2.0 * np.pi * tape_thickness_um / np.asarray(wavelength_um, dtype=np.float64)
    return decibels(kh * np.exp(1.0 - kh))


def worst_print_wavelength_um(tape_thickness_um: Values) -> Array:
    """Wavelength that prints most: 2 pi h."""
    return 2.0 * np.pi * np.asarray(tape_thickness_um, dtype=np.float64)


def worst_print_frequency_hz(tape_thickness_um: Values, speed_ips: float) -> Array:
    """Frequency that prints most."""
    return frequency_hz(worst_print_wavelength_um(tape_thickness_um), speed_ips)


def echo_delay_s(pack_radius_mm: Values, speed_ips: float) -> Array:
    """Time between a sound and its print: one turn of the pack."""
    return 2.0 * np.pi * np.asarray(pack_radius_mm, dtype=np.float64) / speed_mm_per_s(speed_ips)
