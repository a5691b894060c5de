"""How meters move: the VU meter's needle and the quasi-peak detector for noise."""

import numpy as np

from fluxbench.trade._values import Array, Values

VU_DAMPING = 0.8127
VU_NATURAL_RAD_PER_S = 13.512
"""A second-order movement with 1.25 % overshoot that reaches 99 % in 300 ms (IEC 60268-17)."""

QUASI_PEAK_CHARGE_S = 1.4096e-3
QUASI_PEAK_DISCHARGE_S = 0.2932
QUASI_PEAK_SMOOTHING_S = 0.13999
"""A published fit to the burst tables of ITU-R BS.468-4, which gives no time constants.

The rectified signal drives a first-order stage, the first constant when it is above the stage and
the second when below; one more first-order stage smooths. A steady sine reads its rms.
"""


def vu_step_response(time_s: Values) -> Array:
    """Deflection of a VU meter after a steady tone begins, re where it comes to rest."""
    t = np.asarray(time_s, dtype=np.float64)
    ringing = np.sqrt(1.0 - VU_DAMPING**2)
    phase = VU_NATURAL_RAD_PER_S * ringing * t
    decay = np.exp(-VU_DAMPING * VU_NATURAL_RAD_PER_S * t)
    deflection: Array = 1.0 - decay * (np.cos(phase) + VU_DAMPING / ringing * np.sin(phase))
    return deflection
