"""Formulas of the second modelled deck: losses along the wavelength, and what bias does.

Amplitude factors throughout; ``frequency_hz`` is a float array of any shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf, erfc

Floats = NDArray[np.float64]
UM_PER_INCH = 25400.0
RAD_PER_ARCMIN = np.pi / (180.0 * 60.0)


def wave_number_per_um(frequency_hz: Floats, speed_ips: float) -> Floats:
    """k = 2 pi / wavelength, in 1/um."""
    return np.asarray(2.0 * np.pi * frequency_hz / (speed_ips * UM_PER_INCH), dtype=np.float64)


def spacing_loss(frequency_hz: Floats, spacing_um: Floats | float, speed_ips: float) -> Floats:
    """exp(-k d), the 54.6 dB per wavelength of Wallace 1951."""
    return np.asarray(np.exp(-wave_number_per_um(frequency_hz, speed_ips) * spacing_um))


def gap_loss(frequency_hz: Floats, gap_um: Floats | float, speed_ips: float) -> Floats:
    """sinc(1.11 g / wavelength); the 1.11 from Eargle 1994, ch. 167."""
    ratio = 1.11 * gap_um * wave_number_per_um(frequency_hz, speed_ips) / (2.0 * np.pi)
    return np.asarray(np.abs(np.sinc(ratio)))


def thickness_loss(frequency_hz: Floats, coating_um: float, speed_ips: float) -> Floats:
    """(1 - exp(-k t)) / (k t), uniform magnetisation, Wallace 1951."""
    depth = np.maximum(wave_number_per_um(frequency_hz, speed_ips) * coating_um, 1e-9)
    return np.asarray(-np.expm1(-depth) / depth)


def azimuth_loss(
    frequency_hz: Floats, angle_arcmin: float, width_mm: float, speed_ips: float
) -> Floats:
    """sinc(w tan a / wavelength)."""
    shift_um = width_mm * 1000.0 * np.tan(angle_arcmin * RAD_PER_ARCMIN)
    return np.asarray(
        np.sinc(shift_um * wave_number_per_um(frequency_hz, speed_ips) / (2.0 * np.pi))
    )


def _side_flux(u: Floats) -> Floats:
    root = np.sqrt(u)
    return np.asarray(u * erfc(root) + erf(root) / 2.0 - root / np.sqrt(np.pi) * np.exp(-u))


def fringing_gain(
    frequency_hz: Floats, width_mm: float, beyond_mm: tuple[float, float], speed_ips: float
) -> Floats:
    """Gain of a core on a wider recording, thin half-plane core; ``beyond_mm`` past each edge."""
    k_per_mm = np.maximum(wave_number_per_um(frequency_hz, speed_ips) * 1000.0, 1e-9)
    sides = _side_flux(k_per_mm * beyond_mm[0]) + _side_flux(k_per_mm * beyond_mm[1])
    return np.asarray(1.0 + sides / (k_per_mm * width_mm))


def flux_curve(frequency_hz: Floats, t2_us: float) -> Floats:
    """Recorded flux of an equalisation with t2 alone, 1 at 1 kHz (IEC 60094-1, clause 15 form)."""
    omega_t = 2.0 * np.pi * frequency_hz * t2_us * 1e-6
    at_reference = np.hypot(1.0, 2.0 * np.pi * 1000.0 * t2_us * 1e-6)
    return np.asarray(at_reference / np.hypot(1.0, omega_t))


@dataclass(frozen=True, slots=True)
class Stock:
    """A tape's recording constants; all are this deck's own, plausible and unpublished."""

    n: float = 2.2  # sharpness of long-wave sensitivity against bias
    z_um: float = 26.0  # depth of the recording zone
    p: float = 2.35  # growth of that zone with bias
    m: float = 1.32  # steepness of the short-wave fall
    coating_um: float = 11.5
    third_harmonic: float = 0.0048  # ratio at 320 nWb/m at its least
    third_at_db: float = 2.6  # bias of least third harmonic, re greatest long-wave output
    emphasis: float = 0.40  # how much earlier short waves saturate
    working_point_db: float = 0.75  # the maker's bias, re greatest long-wave output
    noise: float = 4.5e-4  # rms, peak operating flux = 1, 1 mm track, 24 kHz band
    modulation_noise_db: float = -55.0
    kinked: bool = False

    def sensitivity(self, bias: Floats) -> Floats:
        """Long-wave sensitivity, 1 at bias 1, collapsing as exp(-n/b) with no bias."""
        return np.asarray(np.exp(-self.n * (np.log(bias) + 1.0 / bias - 1.0)))

    def recording_loss(
        self, frequency_hz: Floats, bias: Floats, gap_um: Floats | float, speed_ips: float
    ) -> Floats:
        """Short-wave loss of the recording zone; a kinked stock has a rise of it below the peak."""
        per_wave = wave_number_per_um(frequency_hz, speed_ips) / (2.0 * np.pi)
        zone = self.z_um * per_wave * (gap_um / 9.0) ** 0.6 * bias**self.p
        loss = (1.0 + zone) ** -self.m
        if self.kinked:
            step = 1.0 + np.tanh((20.0 * np.log10(bias) + 3.6) / 0.7)
            short = 1.0 / (1.0 + (0.012 / np.maximum(per_wave, 1e-12)) ** 4)
            loss = loss * 10.0 ** (1.3 * step * short / 20.0)
        return np.asarray(loss)

    def third_harmonic_ratio(self, bias: Floats) -> Floats:
        """Third harmonic at 320 nWb/m against bias, steep below and flat above its least."""
        below, above = 4.5, 1.7
        ratio = bias / 10.0 ** (self.third_at_db / 20.0)
        return np.asarray(
            self.third_harmonic * (above * ratio**-below + below * ratio**above) / (below + above)
        )

    def modulation_ratio(self, bias: Floats) -> Floats:
        """Rms of the multiplying noise, least at the working point."""
        off_db = 20.0 * np.log10(bias) - self.working_point_db
        more_db = np.where(off_db < 0.0, 4.5, 1.5) * (np.abs(off_db) / 4.0) ** 1.3
        return np.asarray(10.0 ** ((self.modulation_noise_db + more_db) / 20.0))
