"""The judge's side of the second deck: residuals by its own formulas, and what would be right."""

from __future__ import annotations

import numpy as np

from tests.decks._machine import RECORD_GAP_UM, Machine, Values
from tests.decks._magnetics import Floats, Stock, flux_curve

SHEET_TONE_HZ = 10000.0
LOW_TONES_HZ = np.array([40.0, 50.0, 63.0, 80.0, 100.0, 125.0])
_MID, _HIGH = np.array([1000.0]), np.array([10000.0])
_GRID_DB = np.arange(-7.0, 7.0, 0.005)


def _db(amplitude: Floats) -> Floats:
    return np.asarray(20.0 * np.log10(np.abs(amplitude)))


def _short_wave_db(bias: Floats, stock: Stock, gap_um: Floats | float, speed_ips: float) -> Floats:
    """Small-signal output of the sheet's tone against bias, level free."""
    tone = np.array(SHEET_TONE_HZ)
    loss = stock.recording_loss(tone, bias, gap_um, speed_ips)
    return _db(stock.sensitivity(bias) * loss)


def fall_db(
    bias: Floats, stock: Stock, gap_um: Floats | float, speed_ips: float
) -> tuple[Floats, Floats]:
    """Fall from the peak at the sheet's tone, and the bias of that peak, both per track."""
    bias, gap_um = np.atleast_1d(bias), np.broadcast_to(gap_um, np.shape(np.atleast_1d(bias)))
    grid = 10.0 ** (_GRID_DB / 20.0)
    curves = _short_wave_db(grid[None, :], stock, gap_um[:, None], speed_ips)
    best = np.argmax(curves, axis=1)
    fall = np.max(curves, axis=1) - _short_wave_db(bias, stock, gap_um, speed_ips)
    return np.asarray(fall), np.asarray(grid[best])


def sheet_over_bias_db(stock: Stock, speed_ips: float) -> float:
    """What the stock's maker prints: the fall at the working point with the nominal gap."""
    working = np.array([10.0 ** (stock.working_point_db / 20.0)])
    return round(float(fall_db(working, stock, RECORD_GAP_UM, speed_ips)[0][0]), 1)


def fundamental_gain(bend: Floats) -> Floats:
    """Gain of the fundamental through x / sqrt(1 + x^2), ``bend`` = c times peak."""
    angle = (np.arange(512) + 0.5) * np.pi / 512.0
    sine = np.sin(angle)
    return np.asarray(np.mean(2.0 * sine**2 / np.sqrt(1.0 + (bend[:, None] * sine) ** 2), axis=1))


def residuals(machine: Machine, values: Values, stock: Stock, rate_hz: float) -> dict[str, Floats]:
    """Actual minus ideal for every key of a rehearsal's result, all tracks recording."""
    bias = machine.bias(values, range(machine.tracks))
    sheet_db = sheet_over_bias_db(stock, machine.speed_ips)
    fall, peak = fall_db(bias, stock, machine.record_gap_um, machine.speed_ips)
    return {
        "over_bias_db": np.where(bias > peak, fall, -fall) - sheet_db,
        **_levels(machine, values, bias, stock, rate_hz),
        "reproduce_azimuth_arcmin": values["reproduce_azimuth"],
        "record_azimuth_arcmin": values["record_azimuth"],
    }


def _levels(
    machine: Machine, values: Values, bias: Floats, stock: Stock, rate_hz: float
) -> dict[str, Floats]:
    """All residuals in dB but that of the bias itself."""
    every = np.arange(machine.tracks)
    reproduce_lean = float(values["reproduce_azimuth"][0])
    record_lean = float(values["record_azimuth"][0])
    curve = float(flux_curve(_HIGH, machine.t2_us)[0])

    def to_tape(tone_hz: Floats) -> Floats:
        sent = np.abs(machine.drive(tone_hz, values, bias, stock, every))
        return np.asarray(sent * machine.imprint(tone_hz, bias, stock, every))

    def from_tape(tone_hz: Floats, sync: bool, lean_arcmin: float) -> Floats:
        low = machine.low_end(tone_hz, values, rate_hz, sync)
        return np.abs(low * machine.playback(tone_hz, values, sync, lean_arcmin, every))

    driven = np.abs(machine.drive(_MID, values, bias, stock, every))[:, 0]
    bend = fundamental_gain(machine.knee(bias, stock) * driven)
    own_lean = reproduce_lean - record_lean
    low_tones = to_tape(LOW_TONES_HZ) * from_tape(LOW_TONES_HZ, False, own_lean)
    middle = to_tape(_MID) * from_tape(_MID, False, own_lean)
    return {
        "record_level_db": _db(to_tape(_MID)[:, 0] * bend),
        "record_high_db": _db(to_tape(_HIGH)[:, 0] / curve),
        "reproduce_level_db": _db(from_tape(_MID, False, reproduce_lean)[:, 0]),
        "reproduce_high_db": _db(from_tape(_HIGH, False, reproduce_lean)[:, 0] * curve),
        "sync_level_db": _db(from_tape(_MID, True, record_lean)[:, 0]),
        "sync_high_db": _db(from_tape(_HIGH, True, record_lean)[:, 0] * curve),
        "low_end_db": np.mean(_db(low_tones / middle), axis=1),
    }


def _ideal_bias(machine: Machine, stock: Stock) -> Floats:
    """Bias past the peak where the fall is the sheet's, per track, from a fine curve."""
    sheet_db = sheet_over_bias_db(stock, machine.speed_ips)
    found = []
    for gap_um in machine.record_gap_um:
        curve = _short_wave_db(10.0 ** (_GRID_DB / 20.0), stock, gap_um, machine.speed_ips)
        best = int(np.argmax(curve))
        found.append(np.interp(sheet_db, curve[best] - curve[best:], _GRID_DB[best:]))
    return np.asarray(10.0 ** (np.array(found) / 20.0))


def ideal_values(machine: Machine, stock: Stock, rate_hz: float) -> dict[str, Floats]:
    """Trimmer values with which every residual is zero, by repeated small corrections."""
    sides = ("record_high", "record_level", "reproduce_low", "reproduce_high", "reproduce_level",
             "sync_high", "sync_level")  # fmt: skip
    values = {kind: np.zeros(machine.tracks) for kind in sides}
    values |= {"reproduce_azimuth": np.zeros(1), "record_azimuth": np.zeros(1)}
    bias = _ideal_bias(machine, stock)
    values["bias"] = machine.own_bias_db(bias)
    for _ in range(200):
        errors = _levels(machine, values, bias, stock, rate_hz)
        for kind in sides:
            error = errors["low_end_db" if kind == "reproduce_low" else f"{kind}_db"]
            if kind.endswith("_high"):
                error = error - errors[kind.replace("_high", "_level_db")]
            values[kind] = values[kind] - error
        if max(float(np.max(np.abs(error))) for error in errors.values()) < 1e-9:
            break
    return values
