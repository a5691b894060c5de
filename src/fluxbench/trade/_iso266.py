"""Preferred frequencies: names of third-octave bands, and the frequencies they stand for."""

from fluxbench.base import MisuseError

NOMINAL_HZ = (
    10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80,
    100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
    1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000,
    10_000, 12_500, 16_000, 20_000,
)  # fmt: skip
"""ISO 266 (series R10 of ISO 3), 10 Hz to 20 kHz."""

_FIRST_BAND = 10


def exact_hz(nominal_hz: float) -> float:
    """What a nominal frequency stands for: 10^(band/10) Hz, IEC 61260-1."""
    if nominal_hz not in NOMINAL_HZ:
        raise MisuseError(
            f"{nominal_hz:g} Hz is no preferred frequency; use one of ISO 266 from 10 to 20000 Hz"
        )
    return float(10.0 ** ((NOMINAL_HZ.index(nominal_hz) + _FIRST_BAND) / 10.0))


def preferred_hz(low_hz: float, high_hz: float) -> tuple[float, ...]:
    """The nominal frequencies from `low_hz` to `high_hz`, both included."""
    return tuple(float(hz) for hz in NOMINAL_HZ if low_hz <= hz <= high_hz)
