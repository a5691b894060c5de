"""What this one deck is made of, drawn from its seed, and its responses for given trimmer values.

Everywhere: ``values`` maps a trimmer kind to an array (tracks,), or (1,) for a stack trimmer;
``rows`` picks tracks; responses are (rows, frequencies). Amplitude 1 at the input is a sine of
0 VU, and 1 on the tape is the peak of operating flux.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.decks import _magnetics as magnetics
from tests.decks._magnetics import Floats, Stock

Complexes = NDArray[np.complex128]
Values = Mapping[str, Floats]
Rows = NDArray[np.intp]
OPERATING_FLUXIVITY = 355.0
RECORD_GAP_UM = 7.0
REPRODUCE_GAP_UM = 3.6
T2_US = {7.5: 70.0, 15.0: 35.0, 30.0: 17.5}
_SHELF_HZ = 85.0
# tracks: tape width, track width, pitch, mm (PHYSICS-type tables; one track: pitch = tape width)
FORMATS = {
    1: (6.3, 5.94, 6.3),
    2: (6.3, 2.1, 4.0),
    4: (12.6, 1.78, 3.30),
    8: (25.3, 1.78, 3.30),
    16: (50.7, 1.78, 3.23),
    24: (50.7, 1.0, 2.134),
}


def _peaking(frequency_hz: Floats, centre_hz: float, q: float, gain_db: Floats) -> Complexes:
    """Analogue peaking section, its gain in dB at the centre, one row per gain."""
    s = 1j * frequency_hz / centre_hz
    root = 10.0 ** (gain_db[:, None] / 40.0)
    return np.asarray((s * s + s * root / q + 1.0) / (s * s + s / (q * root) + 1.0))


# No seed and no trimmer has a part in these, and designing them over and over takes long.


@lru_cache
def _contour(speed_ips: float, rate_hz: float, sync: bool) -> Floats:
    scale = speed_ips / 15.0 * (0.85 if sync else 1.0)
    size = 0.6 if sync else 1.0
    sections = [signal.butter(2, 17.0 * scale, "highpass", fs=rate_hz, output="sos")[0]]
    bumps = ((52.0, 1.1, 1.7), (125.0, 1.3, -0.8), (230.0, 1.5, 0.4))
    for centre_hz, q, gain_db in bumps:
        omega = 2.0 * np.pi * centre_hz * scale / rate_hz
        root, alpha = 10.0 ** (size * gain_db / 40.0), np.sin(omega) / (2.0 * q)
        zeros = [1.0 + alpha * root, -2.0 * np.cos(omega), 1.0 - alpha * root]
        poles = [1.0 + alpha / root, -2.0 * np.cos(omega), 1.0 - alpha / root]
        sections.append(np.array(zeros + poles) / poles[0])
    return np.asarray(sections)


@lru_cache
def _shelf_section(speed_ips: float, rate_hz: float) -> Floats:
    shelf = signal.butter(1, _SHELF_HZ * speed_ips / 15.0, fs=rate_hz, output="sos")
    return np.asarray(shelf)


@lru_cache
def _untrimmed_low_end(
    speed_ips: float, rate_hz: float, sync: bool, frequencies_hz: tuple[float, ...]
) -> tuple[Complexes, Complexes]:
    """Responses of the contour and of what the low trimmer mixes in."""
    _, contour = signal.freqz_sos(_contour(speed_ips, rate_hz, sync), frequencies_hz, fs=rate_hz)
    _, low = signal.freqz_sos(_shelf_section(speed_ips, rate_hz), frequencies_hz, fs=rate_hz)
    return contour, low


class Machine:
    """Heads, amplifiers and heads' geometry of one deck; nothing here moves."""

    def __init__(self, tracks: int, speed_ips: float, rng: np.random.Generator) -> None:
        self.tracks, self.speed_ips = tracks, speed_ips
        self.tape_mm, self.width_mm, self.pitch_mm = FORMATS[tracks]
        self.t2_us = T2_US[speed_ips]
        self.head_spacing_mm = float(np.round(rng.uniform(38.0, 50.0), 1))
        self.height_mm = (np.arange(tracks) - (tracks - 1) / 2.0) * self.pitch_mm
        draw = rng.standard_normal
        self.reproduce_spacing_um = rng.uniform(0.3, 0.55, tracks)
        self.record_spacing_um = rng.uniform(0.25, 0.5, tracks)
        self.reproduce_gap_um = REPRODUCE_GAP_UM + 0.15 * draw(tracks)
        self.record_gap_um = RECORD_GAP_UM + 0.2 * draw(tracks)
        self.reproduce_gain_db = 1.5 * draw(tracks)
        self.sync_gain_db = 1.5 * draw(tracks)
        self.record_gain_db = 1.5 * draw(tracks)
        self.bias_offset_db = 1.0 * draw(tracks)
        self.leak = rng.uniform(0.01, 0.02, (tracks, 2))  # from the track above, below
        self.leak[0, 0] = self.leak[-1, 1] = 0.0
        self.reproduce_scatter_um = self._level(0.5 * draw(tracks))
        self.record_scatter_um = self._level(0.5 * draw(tracks))
        self.core_corner_hz = rng.uniform(38e3, 50e3, tracks)
        self._nominal = Stock()

    def _level(self, scatter_um: Floats) -> Floats:
        """Take out mean and slope, so that the azimuth of the stack is that of its best line."""
        if self.tracks < 3:
            return np.zeros(self.tracks)
        line = np.polyfit(self.height_mm, scatter_um, 1)
        return np.asarray(scatter_um - np.polyval(line, self.height_mm))

    def delay_s(self, azimuth_arcmin: float, scatter_um: Floats) -> Floats:
        """Lateness of every track at a head that leans by ``azimuth_arcmin``."""
        along_um = self.height_mm * 1000.0 * np.tan(azimuth_arcmin * magnetics.RAD_PER_ARCMIN)
        return np.asarray((along_um + scatter_um) / (self.speed_ips * magnetics.UM_PER_INCH))

    def bias(self, values: Values, ready: Sequence[int]) -> Floats:
        """Bias current at every head re greatest long-wave output, with what neighbours leak."""
        own = 10.0 ** ((values["bias"] + self.bias_offset_db) / 20.0)
        on = np.zeros(self.tracks)
        on[list(ready)] = 1.0
        above = np.concatenate(([0.0], (own * on)[:-1]))
        below = np.concatenate(((own * on)[1:], [0.0]))
        return np.asarray(own + self.leak[:, 0] * above + self.leak[:, 1] * below)

    def own_bias_db(self, wanted: Floats) -> Floats:
        """Trimmer values that give the ``wanted`` currents with all tracks recording."""
        mix = np.eye(self.tracks)
        mix += np.diag(self.leak[1:, 0], -1) + np.diag(self.leak[:-1, 1], 1)
        return np.asarray(20.0 * np.log10(np.linalg.solve(mix, wanted)) - self.bias_offset_db)

    def _fixed_preemphasis(self, frequency_hz: Floats) -> Floats:
        """The record equaliser as built: right for the nominal head and stock up to 18 kHz."""
        held = np.minimum(frequency_hz, 18000.0)

        def needed(at_hz: Floats) -> Floats:
            loss = self._nominal.recording_loss(
                at_hz, self._working(), RECORD_GAP_UM, self.speed_ips
            )
            loss = loss * magnetics.thickness_loss(at_hz, self._nominal.coating_um, self.speed_ips)
            loss = loss * magnetics.spacing_loss(at_hz, 0.35, self.speed_ips)
            return np.asarray(magnetics.flux_curve(at_hz, self.t2_us) / loss)

        # a real network is a little off: it falls short of the ideal by 0.4 dB at 5 kHz
        dip = 1.0 - 0.045 * np.exp(-(np.log2(np.maximum(held, 1.0) / 5000.0) ** 2) * 2.0)
        return np.asarray(needed(held) * dip)

    def _working(self) -> Floats:
        return np.asarray(10.0 ** (self._nominal.working_point_db / 20.0))

    def _emphasis(self, frequency_hz: Floats, stock: Stock) -> Floats:
        loss = stock.recording_loss(frequency_hz, self._working(), RECORD_GAP_UM, self.speed_ips)
        return np.asarray(loss**-stock.emphasis)

    def drive(
        self, frequency_hz: Floats, values: Values, bias: Floats, stock: Stock, rows: Rows
    ) -> Complexes:
        """Input to the bend of the tape: amplifier, equaliser, sensitivity, short-wave emphasis."""
        gain_db = values["record_level"][rows] + self.record_gain_db[rows]
        gain = 10.0 ** (gain_db / 20.0) * stock.sensitivity(bias[rows])
        shape = self._fixed_preemphasis(frequency_hz) * self._emphasis(frequency_hz, stock)
        boost = _peaking(frequency_hz, 13500.0, 0.8, values["record_high"][rows])
        return np.asarray(gain[:, None] * shape * boost)

    def imprint(self, frequency_hz: Floats, bias: Floats, stock: Stock, rows: Rows) -> Floats:
        """From the bend to flux on the tape, at the nominal contact of the record head."""
        loss = stock.recording_loss(
            frequency_hz, bias[rows, None], self.record_gap_um[rows, None], self.speed_ips
        )
        loss = loss * magnetics.thickness_loss(frequency_hz, stock.coating_um, self.speed_ips)
        contact = magnetics.spacing_loss(
            frequency_hz, self.record_spacing_um[rows, None], self.speed_ips
        )
        return np.asarray(loss * contact / self._emphasis(frequency_hz, stock))

    def knee(self, bias: Floats, stock: Stock) -> Floats:
        """c of y = x / sqrt(1 + (c x)^2), whose third harmonic is c^2 x^2 / 8."""
        tone = np.array([1000.0])
        every = np.arange(self.tracks)
        flux_per_bend = self.imprint(tone, np.full(self.tracks, self._working()), stock, every)
        at_320 = 320.0 / OPERATING_FLUXIVITY / np.mean(flux_per_bend)
        return np.asarray(np.sqrt(8.0 * stock.third_harmonic_ratio(bias)) / at_320)

    def playback(
        self, frequency_hz: Floats, values: Values, sync: bool, lean_arcmin: float, rows: Rows
    ) -> Complexes:
        """Flux to output without the low end; ``lean_arcmin`` of the head re the recording."""
        head = "sync" if sync else "reproduce"
        gap = (self.record_gap_um if sync else self.reproduce_gap_um)[rows, None]
        spacing = (self.record_spacing_um if sync else self.reproduce_spacing_um)[rows, None]
        gain_db = (self.sync_gain_db if sync else self.reproduce_gain_db)[rows]
        gain = 10.0 ** ((values[f"{head}_level"][rows] + gain_db) / 20.0)
        t2_s = 1e-6 * self.t2_us * 10.0 ** (values[f"{head}_high"][rows, None] / 20.0)
        at_reference = np.hypot(1.0, 2e-3 * np.pi * self.t2_us)
        equaliser = (1.0 + 2j * np.pi * frequency_hz * t2_s) / at_reference
        losses = magnetics.spacing_loss(frequency_hz, spacing, self.speed_ips)
        losses = losses * magnetics.gap_loss(frequency_hz, gap, self.speed_ips)
        losses = losses * magnetics.azimuth_loss(
            frequency_hz, lean_arcmin, self.width_mm, self.speed_ips
        )
        losses = losses / np.hypot(1.0, frequency_hz / self.core_corner_hz[rows, None])
        return np.asarray(gain[:, None] * equaliser * losses)

    def contour(self, rate_hz: float, sync: bool) -> Floats:
        """Second-order sections of the low end, by wavelength: high-pass, bump, dip, bump."""
        return _contour(self.speed_ips, rate_hz, sync).copy()

    def shelf_section(self, rate_hz: float) -> Floats:
        """First-order low-pass that the low-end trimmer mixes in."""
        return _shelf_section(self.speed_ips, rate_hz).copy()

    def low_end(
        self, frequency_hz: Floats, values: Values, rate_hz: float, sync: bool
    ) -> Complexes:
        """Response of contour and low trimmer, (tracks, frequencies)."""
        contour, low = _untrimmed_low_end(
            self.speed_ips, rate_hz, sync, tuple(np.asarray(frequency_hz).tolist())
        )
        if sync:
            return np.asarray(np.tile(contour, (self.tracks, 1)))
        gain = 10.0 ** (values["reproduce_low"] / 20.0) - 1.0
        return np.asarray(contour * (1.0 + gain[:, None] * low))

    def fringing(self, frequency_hz: float) -> Floats:
        """Gain of every track on a full-width tape: flux to mid-guard, outside to the edge."""
        edge = (self.tape_mm - self.width_mm) / 2.0 - np.abs(self.height_mm)
        guard = (self.pitch_mm - self.width_mm) / 2.0
        tone = np.array([frequency_hz])
        gains = []
        for row in range(self.tracks):
            upper = edge[row] if row == 0 else guard
            lower = edge[row] if row == self.tracks - 1 else guard
            if self.tracks == 1:
                upper = lower = edge[row]
            beyond = (max(float(upper), 0.0), max(float(lower), 0.0))
            gains.append(magnetics.fringing_gain(tone, self.width_mm, beyond, self.speed_ips)[0])
        return np.array(gains)
