"""Standards and physics of tape recording: pure functions, each with its source.

The formulas take numbers or arrays, which broadcast; numbers give numpy scalars.
"""

from fluxbench.trade._azimuth import (
    azimuth_from_delay_arcmin,
    delay_us,
    phase_deg,
)
from fluxbench.trade._contour import (
    contour_db,
)
from fluxbench.trade._equalisation import (
    EQUALISATION_STANDARDS,
    Equalisation,
    EqualisationStandard,
    equalisation_named,
    high_trim_coupling,
    standard_for,
)
from fluxbench.trade._fringing import (
    fringing_rise_db,
    side_crosstalk_db,
)
from fluxbench.trade._losses import (
    GAP_FACTOR,
    RADIANS_PER_ARCMIN,
    azimuth_loss_db,
    gap_loss_db,
    gap_loss_near_null_db,
    spacing_loss_db,
    thickness_loss_db,
    thickness_loss_graded_db,
)
from fluxbench.trade._recording import (
    REFERENCE_GAP_UM,
    WORKING_BIAS_DB,
    OverBiasEstimate,
    bend,
    long_wave_sensitivity_db,
    maximum_output_db,
    output_db,
    over_bias_db,
    peak_bias_db,
    short_wave_loss_db,
    third_harmonic_ratio,
    translate_over_bias,
)
from fluxbench.trade._values import (
    Array,
    Values,
)
from fluxbench.trade._waves import (
    MM_PER_INCH,
    frequency_hz,
    speed_mm_per_s,
    wave_number_per_mm,
    wavelength_um,
)

__all__ = [
    "EQUALISATION_STANDARDS",
    "GAP_FACTOR",
    "MM_PER_INCH",
    "RADIANS_PER_ARCMIN",
    "REFERENCE_GAP_UM",
    "WORKING_BIAS_DB",
    "Array",
    "Equalisation",
    "EqualisationStandard",
    "OverBiasEstimate",
    "Values",
    "azimuth_from_delay_arcmin",
    "azimuth_loss_db",
    "bend",
    "contour_db",
    "delay_us",
    "equalisation_named",
    "frequency_hz",
    "fringing_rise_db",
    "gap_loss_db",
    "gap_loss_near_null_db",
    "high_trim_coupling",
    "long_wave_sensitivity_db",
    "maximum_output_db",
    "output_db",
    "over_bias_db",
    "peak_bias_db",
    "phase_deg",
    "short_wave_loss_db",
    "side_crosstalk_db",
    "spacing_loss_db",
    "speed_mm_per_s",
    "standard_for",
    "thickness_loss_db",
    "thickness_loss_graded_db",
    "third_harmonic_ratio",
    "translate_over_bias",
    "wave_number_per_mm",
    "wavelength_um",
]
