"""The reproduce side: from the flux under a head to the output."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._chain import Responses
from fluxbench.deck._filters import GRID, MovingFir, grid_hz
from fluxbench.deck._lowend import (
    LowEnd,
    contour_sections,
    low_end_shelf,
    shelf_section,
    side_flux,
)
from fluxbench.deck._machine import ZERO_VU_DBFS, Head, Machine
from fluxbench.deck._stocks import REFERENCE
from fluxbench.deck._unsteady import Unsteady

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

CROSSTALK_DB = -60.0


@dataclass(frozen=True, slots=True)
class Lost:
    """A part of a drop-out within a block: how far (0 to 1) the tape stands off at each frame."""

    track: int
    spacing_um: float
    share: F32


class ReproduceSide:
    """One head with its amplifiers: losses, equaliser, contact, azimuth, head bump, crosstalk."""

    def __init__(self, machine: Machine, head: Head, rng: np.random.Generator) -> None:
        self._machine = machine
        self._head = head
        rate_hz, tracks, speed = machine.rate_hz, machine.tracks, machine.speed_ips
        self._fir = MovingFir(rate_hz, tracks)
        self._grid_hz = grid_hz(rate_hz)
        self._responses = Responses(machine, REFERENCE, self._grid_hz)
        self._unsteady = Unsteady(machine, rng)
        self._shelf = low_end_shelf(machine.equalisation, rate_hz, tracks, inverse=True)
        layout = machine.layout
        side_gain, side = 0.0, shelf_section(rate_hz)
        if tracks > 1:
            side_gain, side = side_flux(rate_hz, speed, layout.track_width_mm, layout.guard_mm)
        contour = contour_sections(rate_hz, speed, head.pole_mm)
        self._low_end = LowEnd(contour, shelf_section(rate_hz), side, tracks)
        self._crosstalk_gain = np.float32(10.0 ** (CROSSTALK_DB / 20.0))
        self._side_gain = np.float32(side_gain)
        self._shelf_gain = np.zeros(tracks, np.float32)

    @property
    def delay_frames(self) -> int:
        """What the filter takes, in frames."""
        return self._fir.delay_frames

    @property
    def moving(self) -> tuple[object, ...]:
        """What a block or a turn of a trimmer changes, for a `Moment`."""
        return tuple(
            one for one in (self, self._fir, self._low_end, self._shelf) if one is not None
        )

    def adjust(
        self,
        level_db: F64,
        high_db: F64,
        low_db: F64,
        slant_arcmin: float,
        tracks: NDArray[np.int_],
    ) -> None:
        """Take over settings (all tracks are given) for the tracks listed, from 0.

        `slant_arcmin` is the angle between this gap and the recording under it.
        """
        response = self._responses.reproduce(
            self._head, level_db[tracks] + ZERO_VU_DBFS, high_db[tracks], slant_arcmin, tracks
        )
        self._fir.set_response(response, tracks)
        self._shelf_gain = (10.0 ** (low_db / 20.0) - 1.0).astype(np.float32)

    def rest(self) -> None:
        """Start afresh after a pause."""
        self._fir.rest()
        self._low_end.rest()
        if self._shelf is not None:
            self._shelf.rest()

    def process(
        self,
        flux: F32,
        start_s: float,
        azimuth_arcmin: float,
        laid: tuple[F32, F64] | None,
        lost: Sequence[Lost],
    ) -> F32:
        """Output (frames, tracks), full scale 1, `delay_frames` late, of the flux under the head.

        `laid` is how the recording under the head was laid down: spacing in um (frames, tracks)
        and delay in s (tracks,).
        """
        machine = self._machine
        frames = len(flux)
        delay_s = self._unsteady.delay_s(start_s + frames / machine.rate_hz, azimuth_arcmin)
        delay_s += self._head.scatter_um / machine.speed_um_per_s
        spacing_um = self._unsteady.spacing_um(start_s, frames, machine.rate_hz)
        if laid is not None:
            spacing_um += laid[0]
            delay_s += laid[1]
        slope = 2.0 * np.pi / machine.speed_um_per_s
        signal, sloped, spectrum = self._fir.process_moving(flux, delay_s, slope)
        sloped *= spacing_um
        for one in lost:
            at_hz = np.linspace(0.0, machine.rate_hz / 2.0, GRID // 2 + 1)
            loss = np.exp(-slope * one.spacing_um * at_hz)
            weak = self._fir.through(spectrum, loss, [one.track], frames)[:, 0]
            signal[:, one.track] += one.share * (weak - signal[:, one.track])
        signal -= sloped
        if self._shelf is not None:
            signal = self._shelf.process(signal)
        out, low, beside = self._low_end.process(signal)
        low *= self._shelf_gain
        beside *= self._side_gain
        beside += self._crosstalk_gain * out
        out += low
        out[:, 1:] += beside[:, :-1]
        out[:, :-1] += beside[:, 1:]
        return np.asarray(out)
