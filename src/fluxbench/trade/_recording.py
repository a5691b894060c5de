"""What bias does to a recording: closed forms of the reference stock.

The forms and their constants are fitted to figures of the practice, not published: use them for
estimates. `bias_db` is bias re the bias of greatest sensitivity to long waves.
"""

from dataclasses import dataclass

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.trade._values import Array, Values, decibels
from fluxbench.trade._waves import wavelength_um as wavelength_on_tape_um

WORKING_BIAS_DB = 0.6
"""Where the reference stock is worked: 2.8 dB past the peak of 10 kHz at 15 ips, 9 um gap."""

REFERENCE_GAP_UM = 9.0


def long_wave_sensitivity_db(bias_db: Values, n: float = 1.9) -> Array:
    """Sensitivity to long waves re its greatest: b^-n exp(-n (1/b - 1))."""
    b = _ratio(bias_db)
    level_db: Array = -n * (np.log(b) + 1.0 / b - 1.0) * 20.0 / np.log(10.0)
    return level_db


def short_wave_loss_db(
    wavelength_um: Values,
    bias_db: Values,
    record_gap_um: Values = REFERENCE_GAP_UM,
    z_um: float = 30.0,
    p: float = 2.5,
    m: float = 1.2,
) -> Array:
    """What a short wave loses more than a long one: m x 20 lg(1 + (z/wavelength)(g/9)^0.6 b^p)."""
    return m * decibels(1.0 + _depth(wavelength_um, record_gap_um, z_um) * _ratio(bias_db) ** p)


def third_harmonic_ratio(
    bias_db: Values,
    h0: float = 0.0045,
    least_at_bias_db: float = 2.3,
    r1: float = 5.0,
    r2: float = 1.5,
) -> Array:
    """Third harmonic at 320 nWb/m over the tone, least (`h0`) at `least_at_bias_db`."""
    b = _ratio(np.asarray(bias_db, dtype=np.float64) - least_at_bias_db)
    return h0 * (r2 * b**-r1 + r1 * b**r2) / (r1 + r2)


def bend(third_harmonic_ratio: Values) -> Array:
    """B of y = tanh(B x)/B for a third harmonic at amplitude 1: h3 = B^2/12, the cubic term."""
    return np.sqrt(12.0 * np.asarray(third_harmonic_ratio, dtype=np.float64))


def maximum_output_db(third_harmonic_ratio: Values) -> Array:
    """Level at which the third harmonic reaches 3 %, re where it was measured (2 dB per dB)."""
    return decibels(0.03 / np.asarray(third_harmonic_ratio, dtype=np.float64)) / 2.0


@dataclass(frozen=True, slots=True)
class BiasConstants:
    """The constants of one stock in `long_wave_sensitivity_db` and `short_wave_loss_db`."""

    n: float = 1.9
    z_um: float = 30.0
    p: float = 2.5
    m: float = 1.2


REFERENCE_STOCK = BiasConstants()


def output_db(
    wavelength_um: Values,
    bias_db: Values,
    record_gap_um: Values = REFERENCE_GAP_UM,
    stock: BiasConstants = REFERENCE_STOCK,
) -> Array:
    """Small-signal output of a wave at a bias: long-wave sensitivity less short-wave loss."""
    loss_db = short_wave_loss_db(
        wavelength_um, bias_db, record_gap_um, stock.z_um, stock.p, stock.m
    )
    return long_wave_sensitivity_db(bias_db, stock.n) - loss_db


def peak_bias_db(
    wavelength_um: Values,
    record_gap_um: Values = REFERENCE_GAP_UM,
    stock: BiasConstants = REFERENCE_STOCK,
) -> Array:
    """Bias of greatest small-signal output of a wave; short waves peak with less bias."""
    depth = _depth(wavelength_um, record_gap_um, stock.z_um)
    low, high = np.zeros_like(depth), np.ones_like(depth)
    # The slope n (1/b - 1) - m p q/(1 + q), q = depth b^p, falls with b and is 0 between 0 and 1.
    for _ in range(60):
        b = (low + high) / 2.0
        q = depth * b**stock.p
        rising = stock.n * (1.0 / b - 1.0) > stock.m * stock.p * q / (1.0 + q)
        low, high = np.where(rising, b, low), np.where(rising, high, b)
    return decibels(high)


def over_bias_db(
    wavelength_um: Values,
    bias_db: Values,
    record_gap_um: Values = REFERENCE_GAP_UM,
    stock: BiasConstants = REFERENCE_STOCK,
) -> Array:
    """Fall of a small signal from its peak at a bias, positive on either side of the peak."""
    peak_at_db = peak_bias_db(wavelength_um, record_gap_um, stock)
    peak_db = output_db(wavelength_um, peak_at_db, record_gap_um, stock)
    return peak_db - output_db(wavelength_um, bias_db, record_gap_um, stock)


@dataclass(frozen=True, slots=True)
class OverBiasEstimate:
    """An over-bias translated to another wave or gap: an estimate, never a sheet's figure."""

    drop_db: float
    bias_db: float
    from_wavelength_um: float
    to_wavelength_um: float


def translate_over_bias(
    drop_db: float,
    frequency_hz: float,
    speed_ips: float,
    record_gap_um: float,
    *,
    to_frequency_hz: float | None = None,
    to_speed_ips: float | None = None,
    to_record_gap_um: float | None = None,
) -> OverBiasEstimate:
    """The over-bias of the same bias with another tone, speed or record gap.

    What is not given stays as it was; both are small-signal figures (-20 dB) of the reference
    stock. `MisuseError` if the drop is below 0 or above 20 dB, a length or frequency not positive,
    or if the other tone would still rise at that bias.
    """
    to_frequency_hz = frequency_hz if to_frequency_hz is None else to_frequency_hz
    to_speed_ips = speed_ips if to_speed_ips is None else to_speed_ips
    to_gap_um = record_gap_um if to_record_gap_um is None else to_record_gap_um
    if not 0.0 <= drop_db <= 20.0:
        raise MisuseError(f"an over-bias of {drop_db:g} dB cannot be used; give 0 to 20 dB")
    given = (frequency_hz, speed_ips, record_gap_um, to_frequency_hz, to_speed_ips, to_gap_um)
    if not all(0.0 < value < np.inf for value in given):
        raise MisuseError("frequencies, speeds and record gaps must be positive numbers")
    from_um = float(wavelength_on_tape_um(frequency_hz, speed_ips))
    to_um = float(wavelength_on_tape_um(to_frequency_hz, to_speed_ips))
    bias_db = _bias_at_drop_db(drop_db, from_um, record_gap_um)
    if bias_db < peak_bias_db(to_um, to_gap_um) - 1e-6:
        raise MisuseError(
            f"at this bias the other tone, {to_um:.4g} um on tape, has not reached its peak;"
            " choose a shorter wavelength or a greater drop"
        )
    to_drop_db = float(over_bias_db(to_um, bias_db, to_gap_um))
    return OverBiasEstimate(to_drop_db, bias_db, from_um, to_um)


def _bias_at_drop_db(drop_db: float, wavelength_um: float, record_gap_um: float) -> float:
    """Bias above the peak at which a wave has fallen by `drop_db`, by bisection."""
    low_db = float(peak_bias_db(wavelength_um, record_gap_um))
    high_db = low_db + 40.0
    for _ in range(60):
        bias_db = (low_db + high_db) / 2.0
        if over_bias_db(wavelength_um, bias_db, record_gap_um) < drop_db:
            low_db = bias_db
        else:
            high_db = bias_db
    return low_db


def _ratio(level_db: Values) -> Array:
    return 10.0 ** (np.asarray(level_db, dtype=np.float64) / 20.0)


def _depth(wavelength_um: Values, record_gap_um: Values, z_um: float) -> Array:
    gap = np.asarray(record_gap_um, dtype=np.float64) / REFERENCE_GAP_UM
    return z_um / np.asarray(wavelength_um, dtype=np.float64) * gap**0.6
