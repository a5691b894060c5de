"""The line-up tone that a tone is meant to be."""

from fluxbench.trade import NOMINAL_HZ

LINE_UP_HZ = tuple(sorted({*map(float, NOMINAL_HZ), 700.0, 3000.0}))
"""ISO 266 third octaves with 3150 Hz among them, and 700 and 3000 Hz (common practice)."""

_NEAR_RATIO = 0.03


def nominal_hz(frequency_hz: float) -> float | None:
    """The nearest line-up tone within 3 %, or None.

    >>> nominal_hz(3140.0), nominal_hz(1040.0)
    (3150.0, None)
    """
    if not frequency_hz > 0.0:
        return None
    nearest = min(LINE_UP_HZ, key=lambda hz: abs(frequency_hz / hz - 1.0))
    return nearest if abs(frequency_hz / nearest - 1.0) <= _NEAR_RATIO else None
