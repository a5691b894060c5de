"""The record side: from the input to the flux that lies on the tape."""

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from fluxbench.deck._chain import Responses, amplitude, bend
from fluxbench.deck._filters import MovingFir, grid_hz
from fluxbench.deck._lowend import low_end_shelf
from fluxbench.deck._machine import ZERO_VU_DBFS, Machine
from fluxbench.deck._random import NoiseLoop
from fluxbench.deck._stocks import Stock
from fluxbench.deck._unsteady import Unsteady

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

ZONE_UM_PER_DB = 0.5
"""How far the recording zone moves along the tape with bias; from memory, small."""
LEAK = 0.01
"""What a track gets of its neighbours' bias current."""


def bias_at_head_db(machine: Machine, own_db: F64, ready: NDArray[np.bool_]) -> F64:
    """Bias of each track re the reference, the leak of its ready neighbours included."""
    current = amplitude(own_db + machine.bias_efficiency_db)
    beside = np.where(ready, current, 0.0)
    total = current.copy()
    total[1:] += LEAK * beside[:-1]
    total[:-1] += LEAK * beside[1:]
    return np.asarray(20.0 * np.log10(total))


class RecordSide:
    """Gain and equaliser, bend, modulation noise, recording losses; contact and azimuth apart."""

    def __init__(self, machine: Machine, rng: np.random.Generator) -> None:
        self._machine = machine
        rate_hz, tracks, speed = machine.rate_hz, machine.tracks, machine.speed_ips
        self._pre = MovingFir(rate_hz, tracks)
        self._post = MovingFir(rate_hz, tracks)
        self._grid_hz = grid_hz(rate_hz)
        band_hz = [20.0 * speed / 15.0, min(1500.0 * speed / 15.0, 0.4 * rate_hz)]
        sos = scipy.signal.butter(1, band_hz, "bandpass", fs=rate_hz, output="sos")
        self._modulation = NoiseLoop(20 * rate_hz, tracks, sos, rng)
        self._unsteady = Unsteady(machine, rng)
        self._shelf = low_end_shelf(machine.equalisation, rate_hz, tracks, inverse=False)
        self.bias_db = np.zeros(tracks)
        """Bias at each head, in dB re the reference."""

    def load(self, stock: Stock) -> None:
        """Another tape runs over the heads; `adjust` all tracks after it."""
        self._stock = stock
        self._responses = Responses(self._machine, stock, self._grid_hz)

    @property
    def delay_frames(self) -> int:
        """What the two filters take, in frames."""
        return 2 * self._pre.delay_frames

    def adjust(self, level_db: F64, high_db: F64, bias_db: F64, tracks: NDArray[np.int_]) -> None:
        """Take over settings (all tracks are given) for the tracks listed, from 0."""
        self.bias_db = self.bias_db.copy()
        self.bias_db[tracks] = bias_db[tracks]
        gain_db = (level_db + self._machine.record_efficiency_db)[tracks]
        bent = bend(self._stock, bias_db[tracks])  # B of tanh(B x)/B goes into the filters
        pre = self._responses.record_pre(gain_db - ZERO_VU_DBFS, high_db[tracks], bias_db[tracks])
        self._pre.set_response(pre * bent, tracks)
        self._post.set_response(self._responses.record_post(bias_db[tracks]) / bent, tracks)
        self._modulated = self._stock.modulation_noise(self.bias_db).astype(np.float32)
        self._zone_um = ZONE_UM_PER_DB * (self.bias_db - self.bias_db.mean())

    @property
    def moving(self) -> tuple[object, ...]:
        """What a turn of a trimmer changes, for a `Moment`."""
        return self, self._pre, self._post

    def rest(self) -> None:
        """Start afresh after a pause."""
        self._pre.rest()
        self._post.rest()
        if self._shelf is not None:
            self._shelf.rest()

    def process(self, send: F32) -> F32:
        """Flux (frames, tracks) made of a send, `delay_frames` late, in perfect contact."""
        signal = self._pre.process(send)
        if self._shelf is not None:
            signal = self._shelf.process(signal)
        np.tanh(signal, out=signal)
        noise = self._modulation.next(len(send))
        noise *= self._modulated
        noise += 1.0
        signal *= noise
        return self._post.process(signal)

    def running(
        self, start_s: float, count: int, per_s: float, azimuth_arcmin: float
    ) -> tuple[F32, F64]:
        """Spacing in um (count, tracks) from a time on, and delay of the tracks in s there."""
        machine = self._machine
        delay_s = -self._unsteady.delay_s(start_s, azimuth_arcmin)
        delay_s -= (machine.sync.scatter_um + self._zone_um) / machine.speed_um_per_s
        return self._unsteady.spacing_um(start_s, count, per_s), delay_s
