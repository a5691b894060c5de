"""The live front end: envelopes of a few tones on all tracks, hop by hop of 20 ms.

Every live number (level, frequency, azimuth, drop-outs) comes from these envelopes. An envelope is
the signal shifted by the tone's frequency and low-passed at 250 Hz, at about 1,000 points a second,
so that what flutter spreads stays inside.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag
from fluxbench.measure._slips import SlipDetector
from fluxbench.measure._windows import kaiser_low_pass, kaiser_taps

HOP_S = 0.02
POINTS_PER_HOP = 20
PASS_HZ = 250.0
STOP_DB = 80.0
_ROWS_TOGETHER = 32
CLIPPING = 0.999


def power_dbfs(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level of a power, a full-scale sine = 1; silence is -200."""
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-20)))


@dataclass(frozen=True, slots=True)
class Hop:
    """Envelopes over 20 ms.

    `envelope` is complex (points, tones, tracks); |envelope| = 1 is a full-scale sine, its phase is
    re cos(2 pi f n / rate) of the absolute frame n. `peak` is the greatest sample of each track.
    `lost` says that frames were lost in it or in what the filter still remembers, told or not.
    """

    first_frame: int
    frames: int
    frequencies_hz: tuple[float, ...]
    envelope: NDArray[np.complex64]
    peak: NDArray[np.float32]
    total_power: NDArray[np.float64]
    """Mean square of each track, a full-scale sine = 1."""
    lost: bool
    slipped: bool = False
    """`lost` because frames are missing that nobody told of: tones jumped on all tracks at once."""

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """Tracks that come within 0.01 dB of full scale (tracks,)."""
        return np.asarray(self.peak >= CLIPPING)

    @property
    def power(self) -> NDArray[np.float64]:
        """Band power of each tone (tones, tracks), a full-scale sine = 1."""
        e = self.envelope
        return np.asarray((e.real**2 + e.imag**2).mean(axis=0), np.float64)

    def level_dbfs(self) -> NDArray[np.float64]:
        """Level of each tone (tones, tracks); a full-scale sine is 0, silence -200."""
        return power_dbfs(self.power)


def low_pass(pass_hz: float, stop_hz: float, rate_hz: float) -> NDArray[np.float64]:
    """An odd number of taps that pass up to one frequency and stop 80 dB from another one on."""
    taps = kaiser_taps(STOP_DB, stop_hz - pass_hz, rate_hz) | 1
    return kaiser_low_pass(taps, (pass_hz + stop_hz) / 2.0, rate_hz, STOP_DB)


def _peak(block: NDArray[np.float32]) -> NDArray[np.float32]:
    """The largest sample of each track of a block (frames, tracks), whatever its sign.

    Columns are few and rows many: many rows at a time take a tenth of the time.
    """
    frames, tracks = block.shape
    together = np.gcd(frames, _ROWS_TOGETHER)
    rows = np.abs(block).reshape(-1, together * tracks).max(axis=0)
    return np.asarray(rows.reshape(together, tracks).max(axis=0))


class EnvelopeBank:
    """Turns blocks of any length into hops.

    `frequencies_hz` may be changed between blocks; a frequency of 0 gives the low-passed signal
    itself (real). Cost: one matrix product a hop.
    """

    def __init__(
        self, rate_hz: int, tracks: int, frequencies_hz: Sequence[float] = (1000.0,)
    ) -> None:
        self.rate_hz, self.tracks = rate_hz, tracks
        self._step = round(rate_hz * HOP_S / POINTS_PER_HOP)
        self.hop_frames = self._step * POINTS_PER_HOP
        self._low_pass = low_pass(PASS_HZ, rate_hz / self._step - PASS_HZ, rate_hz)
        self._taps = len(self._low_pass)
        self._signal = np.zeros((self._taps - 1, tracks), np.float32)
        self._next_frame = 0
        self._lost_until = self._slipped_until = 0
        self._slips = SlipDetector(rate_hz, self.hop_frames)
        self.frequencies_hz: tuple[float, ...] = ()
        self.tune(frequencies_hz)

    @property
    def delay_s(self) -> float:
        """How much older than its frames an envelope is: half the filter."""
        return float((self._taps - 1) / 2 / self.rate_hz)

    def tune(self, frequencies_hz: Sequence[float]) -> None:
        """Listen to other tones from the next hop on."""
        wanted = tuple(float(f) for f in frequencies_hz)
        if wanted == self.frequencies_hz:
            return
        self.frequencies_hz = wanted
        width = self._taps - 1 + self.hop_frames
        rows = np.zeros((POINTS_PER_HOP, 2 * len(wanted), width), np.float32)
        n = np.arange(self._taps)
        for tone, f in enumerate(wanted):
            gain = 1.0 if f == 0.0 else 2.0
            turn = np.exp(-2j * np.pi * f / self.rate_hz * n) * self._low_pass * gain
            for point in range(POINTS_PER_HOP):
                at = (point + 1) * self._step - 1
                piece = turn * np.exp(-2j * np.pi * f / self.rate_hz * at)
                rows[point, 2 * tone, at : at + self._taps] = piece.real
                rows[point, 2 * tone + 1, at : at + self._taps] = piece.imag
        self._rows = rows.reshape(-1, width)

    def process(self, block: Block) -> list[Hop]:
        """The hops that a block completes, oldest first."""
        before = len(self._signal) - (self._taps - 1)
        arrived = self._next_frame + before
        if block.first_frame != arrived or Flag.INPUT_LOST in block.flags:
            gap = max(0, block.first_frame - arrived)
            self._lost_until = block.first_frame + self._taps
            if gap:
                self._next_frame += gap
        if Flag.OUTPUT_LOST in block.flags:
            self._lost_until = block.first_frame + len(block.samples) + self._taps
        self._signal = np.concatenate([self._signal, block.samples])
        hops: list[Hop] = []
        while len(self._signal) >= self._taps - 1 + self.hop_frames:
            hops.append(self._hop())
        return hops

    def _hop(self) -> Hop:
        width = self._taps - 1 + self.hop_frames
        signal = self._signal[:width]
        new = signal[-self.hop_frames :]
        tones = len(self.frequencies_hz)
        flat = (self._rows @ signal).reshape(POINTS_PER_HOP, tones, 2, self.tracks)
        start = self._next_frame - (self._taps - 1)
        turn = np.exp(-2j * np.pi * (np.array(self.frequencies_hz) * start / self.rate_hz % 1.0))
        envelope = (flat[:, :, 0] + 1j * flat[:, :, 1]) * turn[:, np.newaxis].astype(np.complex64)
        peak = _peak(new)
        slipped = self._has_slipped(new)
        hop = Hop(
            self._next_frame,
            self.hop_frames,
            self.frequencies_hz,
            envelope,
            peak,
            2.0 * np.einsum("ij,ij->j", new, new).astype(np.float64) / len(new),
            self._next_frame < self._lost_until,
            slipped,
        )
        self._next_frame += self.hop_frames
        self._signal = self._signal[self.hop_frames :]
        return hop

    def _has_slipped(self, new: NDArray[np.float32]) -> bool:
        """Whether frames are missing in a hop that nobody told of."""
        if self._next_frame < self._lost_until:
            self._slips.forget()
            return self._next_frame < self._slipped_until
        slipped = self._slips.see(new, self._next_frame, self.frequencies_hz)
        if slipped:
            self._lost_until = self._slipped_until = self._next_frame + self._taps
        return slipped
