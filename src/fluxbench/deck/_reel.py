"""One reel of tape: what it carries of its own, what was recorded over it, how it hisses."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._filters import MovingDelay
from fluxbench.deck._machine import OPERATING_NWB_PER_M, Machine
from fluxbench.deck._sheets import (
    CALIBRATION_NWB_PER_M,
    REEL_NWB_PER_M,
    WRONG_NWB_PER_M,
    CalibrationFlux,
    ReelFlux,
    Section,
    reel_recorded_to,
    stock_seconds,
)
from fluxbench.deck._stocks import Stock
from fluxbench.deck._tape import LaidDown, TapeMemory
from fluxbench.deck._unwanted import tape_noise

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Laid = tuple[F32, F64]

LEADER_S = 5.0
REEL_ARCMIN_AT_QUARTER_INCH = 4.0
"""The reel from elsewhere stands at most so far off the calibration tape."""
ERASED_DB = -78.0
WEAKLY_ERASED_DB = -35.0


class Reel:
    """A reel; places are seconds of even motion from its begin."""

    def __init__(
        self,
        machine: Machine,
        length_s: float,
        noise_ratio: float,
        own: CalibrationFlux | ReelFlux | None,
    ) -> None:
        self.length_s = length_s
        self.noise = np.float32(noise_ratio)
        """Rms of the tape's noise, 1 = peak of a sine at operating level."""
        self._own = own
        self._rate_hz = machine.rate_hz
        self._tracks = machine.tracks
        self._memory = TapeMemory(machine.rate_hz, machine.tracks, own_signal=own is not None)
        self._laid = LaidDown(machine.rate_hz, machine.tracks)
        left_db = WEAKLY_ERASED_DB if machine.faults.weak_erase else ERASED_DB
        self._left = np.float32(10.0 ** (left_db / 20.0))
        self._delay = MovingDelay(machine.rate_hz)

    def under(self, places_s: F64) -> tuple[F32, Laid | None]:
        """Flux (frames, tracks) at places (frames,), and how it was laid down."""
        if self._memory.empty:
            if self._own is not None:
                return self._own.at(places_s), None
            return np.zeros((len(places_s), self._tracks), np.float32), None
        at = self._memory.frame_of(places_s)
        steps = np.diff(at)
        if steps.min(initial=1.0) < 0.5 or steps.max(initial=1.0) > 1.5:  # where recordings join
            at[1:] = at[0] + np.cumsum(np.clip(steps, 0.5, 1.5))
        first, count = self._delay.span(at)
        flux = self._delay.read(self._memory.read(first, count), first, at)
        return self._filled(flux, places_s), self._laid.read(at)

    def lay_down(
        self, first: int, flux: F32, places_s: F64, azimuth_arcmin: float, tracks: NDArray[np.int_]
    ) -> tuple[range, float]:
        """Erase and record frames on some tracks (from 0); `flux` is changed.

        Gives back the knots in them that `remember` wants to know of, and when after the first
        frame, in s, the first of these is.
        """
        if self._own is not None or self._memory.touched(first, len(flux)):
            before = self._memory.read(first, len(flux))
            flux += self._left * self._filled(before, places_s)
        lead_s = places_s - (first + np.arange(len(flux))) / self._rate_hz
        self._memory.write(first, flux, lead_s, azimuth_arcmin, tracks)
        knots = self._laid.knots_in(first, len(flux))
        return knots, (knots.start * self._laid.step_frames - first) / self._rate_hz

    def remember(
        self, knots: range, spacing_um: F32, delay_s: F64, tracks: NDArray[np.int_]
    ) -> None:
        """How the tape ran over the record head at those knots."""
        self._laid.write(knots, spacing_um, delay_s, tracks)

    @property
    def touched_chunks(self) -> dict[int, list[int]]:
        """Tracks (from 0) that were recorded on in each second of the tape."""
        return self._memory.touched_chunks

    def forget(self, touched_chunks: dict[int, list[int]]) -> None:
        """Take these tracks in these seconds for erased."""
        self._memory.forget(touched_chunks)

    def azimuth_arcmin(self, place_s: float) -> float:
        """The azimuth of what is recorded at a place."""
        own = self._own.azimuth_arcmin if isinstance(self._own, ReelFlux) else 0.0
        return self._memory.slant_at(int(place_s * self._rate_hz), own)

    def _filled(self, flux: F32, places_s: F64) -> F32:
        """The reel's own signal where nothing went over it."""
        if self._own is not None and (untouched := np.isnan(flux)).any():
            return np.where(untouched, self._own.at(places_s), flux)
        return flux


def reels(machine: Machine, stock: Stock, tones: tuple[Section, ...], seed: int) -> dict[str, Reel]:
    """The reels that lie beside the deck, by name; `tones` are those of the calibration tape."""
    fluxivity = WRONG_NWB_PER_M if machine.faults.wrong_tape else CALIBRATION_NWB_PER_M
    re_operating_db = 20.0 * np.log10(fluxivity / OPERATING_NWB_PER_M)
    calibration = CalibrationFlux(machine, tones, re_operating_db)
    theirs_db = 20.0 * np.log10(REEL_NWB_PER_M / OPERATING_NWB_PER_M)
    away = np.random.default_rng([seed, 3]).uniform(-1.0, 1.0)
    away *= REEL_ARCMIN_AT_QUARTER_INCH * (6.3 / machine.layout.tape_width_mm) ** 0.5
    elsewhere = ReelFlux(machine, reel_recorded_to(machine), theirs_db, float(away))
    noise, seconds = tape_noise(machine, stock), stock_seconds(machine.speed_ips)
    return {
        "calibration": Reel(machine, tones[-1].end_s + LEADER_S, noise, calibration),
        "stock": Reel(machine, seconds, noise, None),
        "reel": Reel(machine, seconds, noise, elsewhere),
    }
