"""A practice deck on the test bench: tones in, what comes back out, levels read from spectra."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from fluxbench.deck import PracticeDeck
from fluxbench.deck._works import Works

F64 = NDArray[np.float64]

BLOCK = 1920
ZERO_VU_DBFS = -16.0  # 0 VU = +4 dBu, full scale +20 dBu
Tones = Sequence[tuple[float, float]]


class Rig:
    """A deck put right, and the clock of the tones that are sent to all of its tracks."""

    def __init__(self, *, right: bool = True, **options: Any) -> None:
        self.deck = PracticeDeck(**options)
        self.frame = 0
        if right:
            self.deck._set_ideal()

    def rebuilt(self, **parts: float) -> "Rig":
        """The same deck with other parts, such as record_gap_um."""
        deck = self.deck
        deck._machine = replace(deck._machine, **parts)
        deck._works = Works(deck._machine, deck._stock, deck._works.banks, seed=1)
        return self

    def send(self, seconds: float, tones: Tones = ()) -> NDArray[np.float32]:
        """Process some seconds with tones (Hz, dB re 0 VU) on all tracks; give back the return."""
        deck, out = self.deck, []
        for _ in range(round(seconds * deck.rate_hz / BLOCK)):
            time_s = (self.frame + np.arange(BLOCK)) / deck.rate_hz
            wave = np.zeros(BLOCK)
            for frequency_hz, level_db in tones:
                size = 10.0 ** ((level_db + ZERO_VU_DBFS) / 20.0)
                wave += size * np.sin(2.0 * np.pi * frequency_hz * time_s)
            block = np.repeat(wave.astype(np.float32)[:, np.newaxis], deck.tracks, axis=1)
            out.append(deck.process(block))
            self.frame += BLOCK
        return np.concatenate(out)

    def wound(self) -> None:
        """Wait until the tape is wound."""
        while self.deck.state()["winding"]:
            self.send(0.04)

    def record(self, seconds: float = 1.0, tones: Tones = ()) -> None:
        """Load the stock and record on all tracks, up to speed."""
        self.deck.load("stock")
        self.wound()
        ready = list(range(1, self.deck.tracks + 1))
        self.deck.transport(state="record", ready=ready, monitor="reproduce")
        self.send(seconds, tones)

    def play_section(self, section: int, monitor: str = "reproduce") -> None:
        """Play the calibration tape from a section on, up to speed."""
        if self.deck.state()["tape"] != "calibration":
            self.deck.load("calibration")
        self.deck.locate(section=section)
        self.wound()
        self.deck.transport(state="play", monitor=monitor)
        self.send(1.5)


def levels_db(samples: NDArray[np.float32], frequency_hz: float, rate_hz: float = 48_000.0) -> F64:
    """Level re 0 VU of a tone on each track: power in 20 Hz or 1.5 % around it, so that flutter
    does not count."""
    window = np.hanning(len(samples))[:, np.newaxis]
    power = np.abs(scipy.fft.rfft(samples * window, axis=0)) ** 2
    at_hz = scipy.fft.rfftfreq(len(samples), 1.0 / rate_hz)
    near = np.abs(at_hz - frequency_hz) < max(20.0, 0.015 * frequency_hz)
    mean_square = 2.0 * power[near].sum(axis=0) / (len(samples) * (window**2).sum())
    return np.asarray(10.0 * np.log10(2.0 * mean_square) - ZERO_VU_DBFS)


def lag_s(one: F64, other: F64, rate_hz: float, highest_hz: float) -> float:
    """How much later `other` comes than `one`: slope of the phase between their spectra."""
    size = len(one)
    window = np.hanning(size)
    cross = scipy.fft.rfft(one * window) * np.conj(scipy.fft.rfft(other * window))
    at_hz = scipy.fft.rfftfreq(size, 1.0 / rate_hz)
    whole = scipy.fft.irfft(cross)
    peak = int(np.argmax(whole))
    frames = peak - size if peak > size // 2 else peak
    first_s = -frames / rate_hz
    cross *= np.exp(-2j * np.pi * at_hz * first_s)
    used = (at_hz > 200.0) & (at_hz < highest_hz)
    weight = np.abs(cross[used])
    slope = (weight * np.angle(cross[used]) * at_hz[used]).sum() / (weight * at_hz[used] ** 2).sum()
    return first_s + float(slope) / (2.0 * np.pi)
