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

QUASI_PEAK_OF_SINE_RATIO = 0.98031
"""Where the first stage comes to rest, re the peak of a steady sine: as much charge as discharge.

Closed form: cos t, where (sin t - t cos t) / charge = ((pi/2 - t) cos t - 1 + sin t) / discharge.
"""

FLUTTER_CHARGE_S = 0.033
FLUTTER_DISCHARGE_S = 1.0
FLUTTER_CLAMP_S = 10.0
FLUTTER_DETECTOR_GAIN = 1.1037
"""Our fit to the pulse table of IEC 60386:1972, which gives no time constants.

A clamp follows the lowest deviation with the first constant and lets go with the third; a detector
follows the deviation above it with the first and falls with the second: peak to peak. With the gain
half of it reads a 4 Hz sine's peak.
"""


def flutter_detector_correction_ratio(frequency_hz: Values) -> Array:
    """What makes steady sines of all frequencies read alike: the detector is slower for fast ones.

    1 at 4 Hz, within 0.6 % from 0.8 to 200 Hz; our fit to the detector of the constants above.
    """
    with np.errstate(divide="ignore"):
        octaves = np.log(np.asarray(frequency_hz, dtype=np.float64))
    ratio: Array = 1.00145903 + 0.07970296 * np.tanh((octaves - 1.45830178) / 1.67283909)
    return ratio


def vu_step_response(time_s: Values) -> Array:
    """Deflection of a VU meter after a steady tone begins, re where it comes to rest."""
    t = np.asarray(time_s, dtype=np.float64)
    ringing = np.sqrt(1.0 - VU_DAMPING**2)
    phase = VU_NATURAL_RAD_PER_S * ringing * t
    decay = np.exp(-VU_DAMPING * VU_NATURAL_RAD_PER_S * t)
    deflection: Array = 1.0 - decay * (np.cos(phase) + VU_DAMPING / ringing * np.sin(phase))
    return deflection
