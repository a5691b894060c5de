"""Levels as voltages: dBu, dBV, volts, VU and dBFS of a calibrated channel.

0 dBu = sqrt(0.6) V (IEC 60027-3, ITU-R V.574); 0 VU = +4 dBu (IEC 60268-17 practice).
"""

import math

import numpy as np

from fluxbench.trade._values import Array, Values, decibels

ZERO_DBU_VOLTS = math.sqrt(0.6)
ZERO_DBV_DBU = -20.0 * math.log10(ZERO_DBU_VOLTS)
ZERO_VU_DBU = 4.0


def volts_from_dbu(level_dbu: Values) -> Array:
    """Volts rms."""
    return ZERO_DBU_VOLTS * 10.0 ** (np.asarray(level_dbu, dtype=np.float64) / 20.0)


def dbu_from_volts(level_volts: Values) -> Array:
    """dBu of volts rms."""
    return decibels(np.asarray(level_volts, dtype=np.float64) / ZERO_DBU_VOLTS)


def dbv_from_dbu(level_dbu: Values) -> Array:
    """dBV (re 1 V rms)."""
    return np.asarray(level_dbu, dtype=np.float64) - ZERO_DBV_DBU


def dbu_from_dbv(level_dbv: Values) -> Array:
    """dBu of a level in dBV."""
    return np.asarray(level_dbv, dtype=np.float64) + ZERO_DBV_DBU


def vu_from_dbu(level_dbu: Values) -> Array:
    """What a VU meter shows for a steady sine."""
    return np.asarray(level_dbu, dtype=np.float64) - ZERO_VU_DBU


def dbu_from_vu(level_vu: Values) -> Array:
    """dBu of a steady sine that a VU meter shows."""
    return np.asarray(level_vu, dtype=np.float64) + ZERO_VU_DBU


def dbu_from_dbfs(level_dbfs: Values, full_scale_dbu: Values) -> Array:
    """dBu of a level of a channel whose full-scale sine is `full_scale_dbu`."""
    return np.asarray(level_dbfs, dtype=np.float64) + full_scale_dbu


def dbfs_from_dbu(level_dbu: Values, full_scale_dbu: Values) -> Array:
    """dBFS of a level of a channel whose full-scale sine is `full_scale_dbu`."""
    return np.asarray(level_dbu, dtype=np.float64) - full_scale_dbu
