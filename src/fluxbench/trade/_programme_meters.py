"""Programme meters: IEC 60268-10 types I and IIa, and the scale of the VU meter."""

import math
from dataclasses import dataclass

import numpy as np

from fluxbench.trade._values import Array, Values


@dataclass(frozen=True, slots=True)
class ProgrammeMeter:
    """A quasi-peak meter: what its standard says, and our fit of a detector to its bursts.

    The rectified signal drives a first-order stage, `charge_s` when it is above the stage and
    `discharge_s` when below; `of_sine_ratio` is where that rests for a steady sine of peak 1.
    """

    name: str
    integration_ms: float
    """A burst of 5 kHz that long reads 2 dB low."""
    return_db: float
    return_s: float
    """It falls so far in that time."""
    reference_dbu: float
    """Level of its reference mark."""
    charge_s: float
    of_sine_ratio: float

    @property
    def discharge_s(self) -> float:
        """Time constant that falls by `return_db` in `return_s`."""
        return self.return_s / (self.return_db / 20.0 * math.log(10.0))


PROGRAMME_METERS = {
    "I": ProgrammeMeter("I", 5.0, 20.0, 1.7, 6.0, 0.0014, 0.98065),
    "IIa": ProgrammeMeter("IIa", 10.0, 24.0, 2.8, 8.0, 0.00226, 0.97859),
}
"""By type; times and references: tables after IEC 60268-10:1991, the fit is ours."""

DB_PER_MARK = 4.0


def type_iia_mark(level_dbu: Values) -> Array:
    """Mark of a type IIa scale, 1 to 7, for a steady sine: 4 at 0 dBu, 4 dB a mark."""
    return np.asarray(level_dbu, np.float64) / DB_PER_MARK + 4.0


def vu_deflection_percent(level_vu: Values) -> Array:
    """Deflection of a VU meter re that at 0 VU: its scale is even in voltage (IEC 60268-17)."""
    return np.asarray(100.0 * 10.0 ** (np.asarray(level_vu, np.float64) / 20.0))
