"""What short waves lose between tape and reproduce head; every loss is a positive number of dB."""

import numpy as np

from fluxbench.trade._values import Array, Values, decibels

GAP_FACTOR = 1.11
"""Effective length of a gap over its optical length (Eargle, Electroacoustical Reference Data)."""

RADIANS_PER_ARCMIN = np.pi / (180.0 * 60.0)


def spacing_loss_db(spacing_um: Values, wavelength_um: Values) -> Array:
    """Loss of a head that stands off the tape: exp(-k d), 54.6 dB per wavelength (Wallace 1951)."""
    per_wavelength_db = 2.0 * np.pi * 20.0 / np.log(10.0)
    return np.asarray(per_wavelength_db * spacing_um / wavelength_um, dtype=np.float64)[()]


def gap_loss_db(gap_um: Values, wavelength_um: Values) -> Array:
    """Loss of the reproduce gap: sinc(1.11 g / wavelength); at the null infinite.

    Eargle 1994; right well below the null, see `gap_loss_near_null_db`.
    """
    return -decibels(np.sinc(GAP_FACTOR * gap_um / wavelength_um))


def gap_loss_near_null_db(gap_um: Values, wavelength_um: Values) -> Array:
    """Loss of the reproduce gap that also holds near its null at 1.118 gaps a wavelength.

    sinc(x) (1 - 1.25 x^2)/(1 - x^2) with x = g / wavelength. The form is from memory; its null
    agrees with the published 112 % of the optical gap (Mallinson 1993).
    """
    x = np.asarray(gap_um / wavelength_um, dtype=np.float64)
    near_one = np.abs(x - 1.0) < 1e-6
    inside = np.where(near_one, 0.5, x)
    # sinc(x)/(1 - x^2) tends to 1/2 where the gap equals the wavelength.
    smooth = np.where(near_one, 0.5, np.sinc(inside) / (1.0 - inside**2))
    return -decibels(smooth * (1.0 - 1.25 * x**2))


def thickness_loss_db(coating_um: Values, wavelength_um: Values) -> Array:
    """Loss of a coating magnetised evenly in depth: (1 - exp(-k t))/(k t) (Wallace 1951)."""
    x = np.asarray(2.0 * np.pi * coating_um / wavelength_um, dtype=np.float64)
    return -decibels(_even(x))


def thickness_loss_graded_db(
    coating_um: Values, wavelength_um: Values, surface: float = 0.2
) -> Array:
    """Loss of a coating whose magnetisation rises in depth from `surface` to 1.

    The surface value 0.2 is Tjaden's (in McKnight's review); that it rises linearly is an
    assumption of this project.
    """
    x = np.asarray(2.0 * np.pi * coating_um / wavelength_um, dtype=np.float64)
    flux = surface * _even(x) + (1.0 - surface) * _rising(x)
    return -decibels(flux / (surface + (1.0 - surface) / 2.0))


def azimuth_loss_db(azimuth_arcmin: Values, track_width_mm: Values, wavelength_um: Values) -> Array:
    """Loss of one track to an azimuth error: sinc(w tan a / wavelength)."""
    slant_um = 1000.0 * track_width_mm * np.tan(RADIANS_PER_ARCMIN * np.asarray(azimuth_arcmin))
    return -decibels(np.sinc(slant_um / wavelength_um))


def _even(x: Array) -> Array:
    """(1 - e^-x)/x, which tends to 1 at 0."""
    safe = np.where(x == 0.0, 1.0, x)
    return np.where(x == 0.0, 1.0, -np.expm1(-safe) / safe)


def _rising(x: Array) -> Array:
    """(1 - (1+x) e^-x)/x^2, which tends to 1/2 - x/3 at 0, where the difference would cancel."""
    safe = np.where(x < 1e-4, 1.0, x)
    return np.where(x < 1e-4, 0.5 - x / 3.0, (-np.expm1(-safe) - safe * np.exp(-safe)) / safe**2)
