"""The frequency responses of the chain at given settings, for the filters and for the truth alike.

Flux is told with amplitude 1 = peak of a sine at operating level. All of the record side is
scaled so that 1 kHz on the reference stock at its working bias passes the bend (tanh) as it will
lie on the tape.
"""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._machine import OPERATING_NWB_PER_M, Head, Machine
from fluxbench.deck._stocks import REFERENCE, WORKING_BIAS_DB, Stock
from fluxbench.trade import GAP_FACTOR, RADIANS_PER_ARCMIN, Equalisation, Values

F64 = NDArray[np.float64]
C128 = NDArray[np.complex128]

HIGH_RAD_PER_S = 2.0 * np.pi * 10_000.0
RECORD_TRIM_S = 1.5 / HIGH_RAD_PER_S
"""The time constant that the record trimmer varies, at 15 ips and above; longer when slower."""
MOST_BOOST_DB = 16.0
CORE_HZ = 30_000.0
TOP_HZ = 30_000.0
SPACING_UM = 0.4
CARD_HZ = 4000.0
CARD_GAIN = 0.8
EARLY = 0.45


def amplitude(level_db: Values) -> F64:
    """Amplitude ratio of a level."""
    return np.asarray(10.0 ** (np.asarray(level_db) / 20.0))


def bend(stock: Stock, bias_db: F64) -> F64:
    """B of tanh(B x)/B in units of the operating flux, from the third harmonic at 320 nWb/m."""
    at_320 = np.sqrt(12.0 * stock.third_harmonic(bias_db))
    return np.asarray(at_320 * OPERATING_NWB_PER_M / 320.0)


class Responses:
    """Responses (frequencies, tracks) at some frequencies; settings are arrays of tracks."""

    def __init__(self, machine: Machine, stock: Stock, frequency_hz: F64) -> None:
        self._machine = machine
        self._stock = stock
        at_hz = np.maximum(np.append(frequency_hz, 1000.0), 1.0)
        wave_um = machine.speed_um_per_s / at_hz
        self._wave_um = wave_um[:-1, np.newaxis]
        self._jw = 2j * np.pi * at_hz[:-1, np.newaxis]
        nominal = REFERENCE.short_wave(wave_um, WORKING_BIAS_DB, machine.record_gap_um)
        nominal = nominal * REFERENCE.coating(wave_um)
        working_db = WORKING_BIAS_DB + stock.bias_long_db
        early = stock.short_wave(wave_um, working_db, machine.record_gap_um) ** -EARLY
        self._early = (early / early[-1])[:-1, np.newaxis]
        self._tape_flux = flux_shape(machine.equalisation, at_hz)
        equalised = _capped(self._tape_flux * nominal[-1] / nominal)
        top = 1.0 / np.sqrt(1.0 + (at_hz / TOP_HZ) ** 8)
        sensitivity = 1.0 / REFERENCE.long_wave(WORKING_BIAS_DB)
        self._pre = (sensitivity * equalised * top)[:-1, np.newaxis] * self._early
        coated = amplitude(stock.sensitivity_db) * stock.coating(wave_um) / nominal[-1]
        dirt = np.exp(-2.0 * np.pi * machine.dirt_um / wave_um)
        self._post = (coated * dirt)[:-1, np.newaxis] / self._early
        self._trim_s = RECORD_TRIM_S * max(1.0, 15.0 / machine.speed_ips)
        lost = np.exp(-2.0 * np.pi * SPACING_UM / wave_um) / np.sqrt(1.0 + (at_hz / CORE_HZ) ** 2)
        self._fixed = {}
        for head in (machine.reproduce, machine.sync):
            as_made = np.abs(lost * _gap(head.made_gap_um, wave_um))
            made_up = _capped(1.0 / np.maximum(as_made, 1e-3))
            left = made_up * lost * _gap(head.gap_um, wave_um) * dirt * top / self._tape_flux
            self._fixed[head.name] = left[:-1, np.newaxis]

    def record_pre(self, level_db: F64, high_db: F64, bias_db: F64) -> C128:
        """From the input to the bend; `level_db` holds the efficiency of the head too."""
        trim = self._trimmed(self._trim_s, high_db)
        gain = amplitude(level_db) * self._stock.long_wave(bias_db)
        return np.asarray(self._pre * trim * gain)

    def record_post(self, bias_db: F64) -> F64:
        """From the bend to the flux on the tape."""
        gap_um = self._machine.record_gap_um
        away = np.exp(-2.0 * np.pi * self._machine.sync.away_um / self._wave_um)
        return np.asarray(
            self._post * self._stock.short_wave(self._wave_um, bias_db, gap_um) * away
        )

    def reproduce(
        self, head: Head, level_db: F64, high_db: F64, slant_arcmin: float, tracks: NDArray[np.int_]
    ) -> C128:
        """From the flux to the output (1 = 0 VU), low end apart.

        `slant_arcmin` is the angle between the gap and the recording, `tracks` counts from 0.
        """
        w_mm = self._machine.layout.track_width_mm
        slant_um = 1000.0 * w_mm * np.tan(RADIANS_PER_ARCMIN * slant_arcmin)
        t2_s = 1e-6 * self._machine.equalisation.t2_us
        trim = self._trimmed(t2_s, high_db)
        gain = amplitude(level_db + head.efficiency_db[tracks])
        away_um = np.broadcast_to(head.away_um, head.efficiency_db.shape)[tracks]
        gain = gain * np.exp(-2.0 * np.pi * away_um / self._wave_um)
        if self._machine.faults.card:
            bad = np.isin(tracks + 1, self._machine.faults.card)
            card = CARD_GAIN / (1.0 + self._jw / (2.0 * np.pi * CARD_HZ))
            trim = trim * np.where(bad, card, 1.0)
        return np.asarray(self._fixed[head.name] * np.sinc(slant_um / self._wave_um) * trim * gain)

    def _trimmed(self, time_s: float, high_db: F64) -> C128:
        """What it does to lengthen a time constant so that small turns move 10 kHz by `high_db`."""
        x2 = (HIGH_RAD_PER_S * time_s) ** 2
        trimmed_s = time_s * amplitude(high_db * (1.0 + x2) / x2)
        return np.asarray((1.0 + self._jw * trimmed_s) / (1.0 + self._jw * time_s))


def flux_shape(equalisation: Equalisation, frequency_hz: F64) -> F64:
    """Amplitude of the standard flux re 1 kHz by t2 alone; t1 is left to `_lowend`."""
    return amplitude(Equalisation(None, equalisation.t2_us).flux_re_db(frequency_hz))


def _gap(gap_um: float, wave_um: F64) -> F64:
    return np.asarray(np.sinc(GAP_FACTOR * gap_um / wave_um))


def _capped(boost: F64) -> F64:
    """A boost that bends over to the most an amplifier gives."""
    return np.asarray((boost**-8 + 10.0 ** (-8 * MOST_BOOST_DB / 20.0)) ** -0.125)
