"""The way of the samples: input to tape, tape to output, block by block."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.decks import _filters
from tests.decks._filters import LATENCY, MovingFilter, Response
from tests.decks._machine import Machine, Rows, Values
from tests.decks._magnetics import UM_PER_INCH, Floats, Stock
from tests.decks._motion import Flutter, Samples, band_wander, read_between
from tests.decks._tape import Tape

_LOOP = 1 << 19  # frames of modulation noise
_MARGIN = 96  # frames that flutter may displace the tape
_FLAT_CROSSTALK = 10.0 ** (-58.0 / 20.0)
_LOW_CROSSTALK = 10.0 ** (-35.0 / 20.0)
_SYNC_CROSSTALK_1K = 10.0 ** (-42.0 / 20.0)


class _Kept:
    """Responses per track, worked out again only for tracks whose settings moved."""

    def __init__(self) -> None:
        self._key: Floats | None = None
        self._response: Response | None = None

    def get(self, key: Floats, work_out: Callable[[Rows], NDArray[np.complexfloating]]) -> Response:
        """``key`` is (tracks, settings)."""
        if self._key is None or self._response is None:
            moved = np.arange(len(key))
            self._response = np.asarray(work_out(moved), dtype=np.complex64)
        else:
            moved = np.flatnonzero(np.any(key != self._key, axis=1))
            if len(moved):
                fresh = self._response.copy()
                fresh[moved] = work_out(moved)
                self._response = fresh
        self._key = key
        return self._response


class SignalPath:
    """Record and reproduce chains of all tracks, with everything that wanders."""

    block = _filters.BLOCK

    def __init__(
        self,
        machine: Machine,
        rate_hz: int,
        rng: np.random.Generator,
        speed_error: float,
        contact: float,
    ) -> None:
        self._machine, self._rate_hz = machine, float(rate_hz)
        self._grid_hz = _filters.grid_hz(self._rate_hz)
        self._limit = _filters.band_limit(self._grid_hz, self._rate_hz)
        self._um_per_s = machine.speed_ips * UM_PER_INCH
        self.clock = 0  # frames since power-up
        spacing_s = machine.head_spacing_mm * 1000.0 / (self._um_per_s * (1.0 + speed_error))
        self.head_delay_frames = spacing_s * self._rate_hz
        self._rng = rng.spawn(1)[0]
        tracks, speed = machine.tracks, machine.speed_ips / 15.0
        skew_rms = 0.15 * np.sqrt(50.7 / machine.tape_mm)
        self.contact_um = [
            band_wander(rng, tracks, 0.08, 10.0, 0.08 * contact, 0.4) for _ in ("record", "play")
        ]
        self.skew_arcmin = [
            band_wander(rng, 1, 0.2, 2.0, skew_rms, 0.0) for _ in ("record", "play")
        ]
        parts_hz = np.concatenate((
            np.array([0.27, 0.58, 0.83, 3.1, 4.4, 12.1]) * speed, [33.3], rng.uniform(20, 200, 10)
        ))  # fmt: skip
        peak = np.concatenate(([1e-4, 1.5e-4, 1.2e-4, 9e-5, 8e-5, 1e-4, 4e-5], np.full(10, 1.5e-5)))
        phase = rng.uniform(0.0, 2.0 * np.pi, len(peak))
        self._flutter = Flutter(parts_hz, peak, phase, self._rate_hz, self.block)
        self._hum_rad = 2.0 * np.pi * np.array([50.0, 100.0, 150.0]) / self._rate_hz
        size = np.array([4e-4, 2e-4, 2.5e-4]) * rng.uniform(0.5, 1.4, (tracks, 3))
        self._hum = size * np.exp(2j * np.pi * rng.random((tracks, 3)))
        turns = np.outer(self._hum_rad, np.arange(self.block))
        self._hum_cos, self._hum_sin = np.cos(turns), np.sin(turns)
        self._between = rng.choice([-1.0, 1.0], tracks).astype(np.float32) * _FLAT_CROSSTALK
        self._contour = [machine.contour(self._rate_hz, sync) for sync in (False, True)]
        shelf = machine.shelf_section(self._rate_hz)[0]  # of first order
        self._shelf = shelf[:2], shelf[3:5]
        self._side_flux = signal.butter(1, 45.0 * speed, fs=self._rate_hz)
        pole = np.exp(-2.0 * np.pi * 1500.0 * speed / self._rate_hz)
        slow = signal.lfilter([1.0], [1.0, -pole], self._rng.standard_normal(_LOOP))
        self._slow = np.append(slow, slow[: self.block]).astype(np.float32) / np.float32(
            np.std(slow)
        )
        self._slow_start = self._rng.integers(0, _LOOP, tracks)
        self._kept = {name: _Kept() for name in ("drive", "imprint", "reproduce", "sync")}
        self.pause()

    def pause(self, playing_only: bool = False) -> None:
        """Forget what is under way in the filters; the tape stands or jumps."""
        tracks = self._machine.tracks
        self._player = MovingFilter(tracks)
        self._contour_memory = np.zeros((len(self._contour[0]), tracks, 2))
        self._shelf_memory = np.zeros((tracks, 1))
        self._leak_memory = np.zeros((tracks, 1))
        if not playing_only:
            self._driver, self._printer = MovingFilter(tracks), MovingFilter(tracks)
            self._knee: Floats | None = None

    def _tilt(self, head: int, azimuth_arcmin: float, scatter_um: Floats, sign: float) -> Response:
        time_s = self.clock / self._rate_hz
        contact = self.contact_um[head].at(time_s)
        lean = azimuth_arcmin + float(self.skew_arcmin[head].at(time_s)[0])
        delay_s = sign * self._machine.delay_s(lean, scatter_um)
        return _filters.tilt(2.0 * np.pi / self._um_per_s * contact, delay_s, self._rate_hz)

    def record(
        self, given: Samples, values: Values, rows: list[int], tape: Tape, position: int
    ) -> None:
        """Bias, erase and record ``rows`` of the tape with what is given."""
        machine, frames = self._machine, given.shape[1]
        stock = tape.stock or Stock()
        bias = machine.bias(values, rows)
        grid, limit = self._grid_hz, self._limit
        key = np.stack(
            (
                values["record_level"],
                values["record_high"],
                bias,
                np.full(machine.tracks, stock.z_um),
            ),
            1,
        )
        drive = self._kept["drive"].get(
            key, lambda moved: machine.drive(grid, values, bias, stock, moved) * limit
        )
        imprint = self._kept["imprint"].get(
            key[:, 2:], lambda moved: machine.imprint(grid, bias, stock, moved) * limit + 0j
        )
        tilt = self._tilt(0, float(values["record_azimuth"][0]), machine.record_scatter_um, -1.0)
        driven = self._driver.run(given, drive)
        knee = machine.knee(bias, stock)
        before = knee if self._knee is None else self._knee
        self._knee = knee
        rising = np.arange(1, frames + 1, dtype=np.float32) / np.float32(frames)
        bend: Samples = np.asarray(before[:, None] + (knee - before)[:, None] * rising, np.float32)
        bent: Samples = driven / np.sqrt(np.float32(1.0) + np.square(bend * driven))
        ratio = stock.modulation_ratio(bias).astype(np.float32)
        bent *= np.float32(1.0) + ratio[:, None] * self._slow_noise(frames)
        flux = self._printer.run(bent, imprint * tilt)
        flux += np.float32(tape.noise) * self._rng.standard_normal(flux.shape, dtype=np.float32)
        late = 2 * LATENCY
        tape.write(
            position + int(self.head_delay_frames) - late,
            flux,
            rows,
            self._flutter.displacement(self.clock - late, frames),
            float(values["record_azimuth"][0]),
        )

    def _slow_noise(self, frames: int) -> Samples:
        """Unit noise below about 1.5 kHz at 15 in/s: one long loop, every track elsewhere in it."""
        at = (self._slow_start + self.clock) % _LOOP
        return np.stack([self._slow[k : k + frames] for k in at])

    def play(
        self,
        given: Samples,
        values: Values,
        rows: list[int],
        tape: Tape,
        position: int,
        sync: bool,
    ) -> Samples:
        """What a head finds on the moving tape; tracks that record give their input in sync."""
        machine, frames = self._machine, given.shape[1]
        heard, recorded_lean = self._pick_up(frames, tape, position, sync)
        name, scatter, azimuth = "reproduce", machine.reproduce_scatter_um, "reproduce_azimuth"
        if sync:
            name, scatter, azimuth = "sync", machine.record_scatter_um, "record_azimuth"
        at = float(values[azimuth][0])
        lean = at - recorded_lean
        key = np.stack(
            (values[f"{name}_level"], values[f"{name}_high"], np.full(machine.tracks, lean)), 1
        )
        response = self._kept[name].get(
            key,
            lambda moved: machine.playback(self._grid_hz, values, sync, lean, moved) * self._limit,
        )
        heard = self._player.run(heard, response * self._tilt(0 if sync else 1, at, scatter, 1.0))
        out = self._low_end(heard, values, sync) + self.hum(frames, sync)
        if sync and rows:
            steps = np.diff(given[rows], axis=1, prepend=0.0)
            size = _SYNC_CROSSTALK_1K / (2.0 * np.pi * 1000.0 / self._rate_hz)
            for row, step in zip(rows, steps, strict=True):
                for other in {row - 1, row + 1} & set(range(machine.tracks)):
                    out[other] += np.float32(size) * step
            out[rows] = given[rows]
        return out

    def _pick_up(self, frames: int, tape: Tape, position: int, sync: bool) -> tuple[Samples, float]:
        """Flux under a head, read where flutter has the tape, with its drop-outs."""
        whole = int(self.head_delay_frames)
        ahead = self.head_delay_frames if sync else 0.0
        now = self._flutter.displacement(self.clock + LATENCY, frames)
        sought = position + LATENCY + np.arange(frames) + now + ahead
        sought -= self.head_delay_frames - whole
        first = int(sought[0]) - _MARGIN
        window, recorded, lean = tape.read(first, int(sought[-1]) - first + _MARGIN)
        place = sought - first
        along = np.arange(len(recorded))
        shift = np.interp(place, along, recorded)
        shift = np.interp(place - shift, along, recorded)
        heard = read_between(window, place - shift)
        start = int(sought[0])
        for at, length, row, depth_db in tape.drop_outs:
            if at > start + frames:
                break
            if at + length > start:
                part = (start + np.arange(frames) - at) / length
                dip = np.where((part > 0) & (part < 1), np.sin(np.pi * np.clip(part, 0, 1)), 0.0)
                heard[row] *= (10.0 ** (-depth_db * dip / 20.0)).astype(np.float32)
        return heard, lean

    def _low_end(self, heard: Samples, values: Values, sync: bool) -> Samples:
        """Crosstalk, contour and, on the reproduce head, the low trimmer."""
        mixed = heard.copy()
        mixed[1:] += self._between[1:, None] * heard[:-1]
        mixed[:-1] += self._between[1:, None] * heard[1:]
        out, self._contour_memory = signal.sosfilt(
            self._contour[sync], mixed, axis=1, zi=self._contour_memory
        )
        low, self._shelf_memory = signal.lfilter(*self._shelf, out, axis=1, zi=self._shelf_memory)
        beside = np.zeros_like(low)
        beside[1:] += low[:-1]
        beside[:-1] += low[1:]
        leaked, self._leak_memory = signal.lfilter(
            *self._side_flux, beside, axis=1, zi=self._leak_memory
        )
        if not sync:
            out += (10.0 ** (values["reproduce_low"] / 20.0) - 1.0)[:, None] * low
        out += _LOW_CROSSTALK * leaked
        return np.asarray(out, dtype=np.float32)

    def hum(self, frames: int, sync: bool) -> Samples:
        """Mains hum of the heads, constant whatever the tape does."""
        size = self._hum * np.exp(1j * self._hum_rad * self.clock) * (0.25 if sync else 1.0)
        hum = size.real @ self._hum_cos[:, :frames] - size.imag @ self._hum_sin[:, :frames]
        return np.asarray(hum, dtype=np.float32)
