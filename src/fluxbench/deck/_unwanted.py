"""What nobody asked for: tape noise, hum, the noise of amplifiers, drop-outs."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._chain import Responses
from fluxbench.deck._machine import OPERATING_NWB_PER_M, Machine
from fluxbench.deck._reproduce import Lost
from fluxbench.deck._stocks import REFERENCE, Stock

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

RE_320_DB = 20.0 * np.log10(320.0 / OPERATING_NWB_PER_M)
HUM_DB_RE_320 = {50.0: -70.0, 100.0: -76.0, 150.0: -73.0}
HUM_FAULT_DB = 25.0
SYNC_HUM_DB = -15.0
AMPLIFIER_DB_RE_320 = -78.0
DROPOUTS_PER_MIN = (0.3, 1.5)
"""On inner and on edge tracks; from memory, 0.5 to 5."""


def a_weighting(frequency_hz: F64) -> F64:
    """Amplitude of the A-weighting, the closed form of IEC 61672-1 annex E (1 at 1 kHz)."""
    f2 = frequency_hz**2
    low = (f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
    return np.asarray(1.2589 * 12_194.0**2 * f2**2 / (low * (f2 + 12_194.0**2)))


def tape_noise(machine: Machine, stock: Stock) -> float:
    """Rms of white flux (1 = sine peak at operating level) that gives the stock's noise.

    The stock's figure holds for 1 mm at 15 ips through the nominal reproduce side; the power goes
    with 1/width, its density per Hz with 1/speed.
    """
    at_hz = np.arange(10.0, 20_000.0, 10.0)
    usual = machine.clean().at_speed(15.0)
    zero = np.zeros(1)
    first = np.zeros(1, np.int_)
    response = Responses(usual, REFERENCE, at_hz).reproduce(usual.nominal, zero, zero, 0.0, first)
    weighted = (np.abs(response[:, 0]) * a_weighting(at_hz)) ** 2
    power = 0.5 * 10.0 ** ((stock.noise_a_db + RE_320_DB) / 10.0)  # rms² of a sine of that level
    density = power / (weighted.sum() * 10.0)
    density *= 15.0 / machine.speed_ips / machine.layout.track_width_mm
    return float(np.sqrt(density * machine.rate_hz / 2.0))


class Background:
    """Hum and amplifier noise at the outputs, whatever the tape does; it repeats after 2 s."""

    SECONDS = 2

    def __init__(self, machine: Machine, rng: np.random.Generator) -> None:
        tracks, rate_hz = machine.tracks, machine.rate_hz
        frames = self.SECONDS * rate_hz
        more_db = HUM_FAULT_DB if machine.faults.hum else 0.0
        self._hum = np.zeros((frames, tracks), np.float32)
        for frequency_hz, level_db in HUM_DB_RE_320.items():
            size = 10.0 ** ((level_db + RE_320_DB + more_db + rng.uniform(-3, 3, tracks)) / 20.0)
            phase = rng.uniform(0.0, 2.0 * np.pi, tracks)
            turns = 2.0 * np.pi * frequency_hz * np.arange(frames)[:, np.newaxis] / rate_hz
            self._hum += (size * np.sin(turns + phase)).astype(np.float32)
        rms = 10.0 ** ((AMPLIFIER_DB_RE_320 + RE_320_DB) / 20.0) / np.sqrt(2.0)
        self._noise = np.float32(rms) * rng.standard_normal((frames, tracks), np.float32)

    def next(self, first_frame: int, frames: int, hum_db: float = 0.0) -> F32:
        """The next frames (frames, tracks), at most 2 s; 1 = 0 VU."""
        at = first_frame % len(self._hum)
        hum, noise = self._hum[at : at + frames], self._noise[at : at + frames]
        if len(hum) < frames:
            rest = frames - len(hum)
            hum = np.concatenate([hum, self._hum[:rest]])
            noise = np.concatenate([noise, self._noise[:rest]])
        return np.asarray(hum * np.float32(10.0 ** (hum_db / 20.0)) + noise)


class Dropouts:
    """Weak places of a tape, the same on every pass."""

    def __init__(self, machine: Machine, seed: int) -> None:
        self._machine = machine
        self._seed = seed
        inner, edge = DROPOUTS_PER_MIN
        per_min = np.full(machine.tracks, inner)
        per_min[[0, -1]] = edge
        self._per_s = per_min * (10.0 if machine.faults.dropouts else 1.0) / 60.0
        self._second = -1
        self._here: list[tuple[int, float, float, float]] = []

    def over(self, place_s: F64) -> list[Lost]:
        """The drop-outs that touch these places (frames,)."""
        low, high = float(place_s[0]), float(place_s[-1])
        if int(low) != self._second:
            self._second = int(low)
            self._here = [one for s in (-1, 0, 1) for one in self._in(self._second + s)]
        found = []
        for track, start_s, seconds, spacing_um in self._here:
            if start_s < high and start_s + seconds > low:
                along = np.clip((place_s - start_s) / seconds, 0.0, 1.0)
                share = np.minimum(1.0, 2.0 * np.sin(np.pi * along) ** 2)
                found.append(Lost(track, spacing_um, share.astype(np.float32)))
        return found

    def _in(self, second: int) -> list[tuple[int, float, float, float]]:
        """Track, start, length and spacing of the drop-outs that begin in a second of the tape."""
        rng = np.random.default_rng([self._seed, second + 1000])
        counts = rng.poisson(self._per_s)
        found = []
        for track in np.repeat(np.arange(len(counts)), counts):
            start_s = second + rng.random()
            seconds = float(np.exp(rng.uniform(np.log(0.002), np.log(0.03))))
            depth_db = rng.uniform(3.0, 20.0)
            spacing_um = depth_db * self._machine.speed_um_per_s / (54.575 * 10_000.0)
            found.append((int(track), start_s, seconds, spacing_um))
        return found
