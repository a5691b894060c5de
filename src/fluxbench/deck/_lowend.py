"""The low end: head bump, low trim and side flux as one IIR system for all tracks.

A single system with three outputs, run as matrix products: half the time of sections in a row.
"""

import itertools
from functools import lru_cache

import numpy as np
import scipy.optimize
import scipy.signal
from numpy.typing import NDArray

from fluxbench.trade import Equalisation, contour_db, side_crosstalk_db

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

SHELF_HZ = 100.0
"""Where the low trim begins, at every speed: the low end is judged from 40 to 125 Hz."""
SHIELD_DB = -8.0
"""What a shield between the cores takes off the side flux; from memory, 5 to 10 dB."""


@lru_cache(maxsize=32)
def contour_sections(rate_hz: int, speed_ips: float, pole_mm: float) -> F64:
    """Three peaks and a high-pass fitted to the head bump, gain 1 at 1 kHz; (4, 6) sections."""
    scale = speed_ips / 15.0
    grid_hz = np.geomspace(20.0 * scale, min(1500.0 * scale, 0.3 * rate_hz), 160)
    wanted_db = contour_db(grid_hz, speed_ips, pole_mm, pole_mm)
    corner_hz = 381.0 * scale / pole_mm
    start = [np.log(corner_hz * f) for f in (1 / 2.19, 1 / 0.68, 1 / 0.40)]
    start += [2.2, -1.0, 0.5, 0.0, 0.3, 0.3, np.log(corner_hz / 7.0), -0.3]

    def error(at: F64) -> F64:
        return _response_db(_sections(at, rate_hz), grid_hz, rate_hz) - wanted_db

    best = scipy.optimize.least_squares(error, start, max_nfev=400).x
    sections = _sections(best, rate_hz)
    sections[0, :3] /= 10.0 ** (_response_db(sections, np.array([1000.0]), rate_hz)[0] / 20.0)
    return sections


def _sections(at: F64, rate_hz: float) -> F64:
    sections = np.zeros((4, 6))
    for i in range(3):
        w = 2 * np.pi * np.exp(at[i]) / rate_hz
        gain, alpha = 10.0 ** (at[3 + i] / 40.0), np.sin(w) / (2.0 * np.exp(at[6 + i]))
        b = np.array([1 + alpha * gain, -2 * np.cos(w), 1 - alpha * gain])
        a = np.array([1 + alpha / gain, -2 * np.cos(w), 1 - alpha / gain])
        sections[i] = np.concatenate([b, a]) / a[0]
    w = 2 * np.pi * np.exp(at[9]) / rate_hz
    alpha, c = np.sin(w) / (2.0 * np.exp(at[10])), np.cos(w)
    b = np.array([(1 + c) / 2, -(1 + c), (1 + c) / 2])
    a = np.array([1 + alpha, -2 * c, 1 - alpha])
    sections[3] = np.concatenate([b, a]) / a[0]
    return sections


def _response_db(sections: F64, at_hz: F64, rate_hz: float) -> F64:
    _, response = scipy.signal.freqz_sos(sections, at_hz, fs=rate_hz)
    return np.asarray(20.0 * np.log10(np.abs(response)))


def shelf_section(rate_hz: int) -> F64:
    """The first-order low-pass that the low trim adds, (1, 6)."""
    return np.asarray(scipy.signal.butter(1, SHELF_HZ, fs=rate_hz, output="sos"))


def side_flux(
    rate_hz: int, speed_ips: float, track_width_mm: float, guard_mm: float
) -> tuple[float, F64]:
    """Gain and low-pass (two equal poles) fitted to the flux of one neighbour beside a core."""
    at_hz = np.geomspace(25.0, 100.0, 12) * speed_ips / 15.0
    wanted = side_crosstalk_db(at_hz, speed_ips, track_width_mm, guard_mm) + SHIELD_DB
    best = (np.inf, 0.0, 0.0)
    for corner_hz in np.geomspace(8.0, 80.0, 60) * speed_ips / 15.0:
        shape = -20.0 * np.log10(1.0 + (at_hz / corner_hz) ** 2)
        gain_db = float((wanted - shape).mean())
        best = min(best, (float(((wanted - shape - gain_db) ** 2).sum()), gain_db, corner_hz))
    _, gain_db, corner_hz = best
    once = scipy.signal.butter(1, corner_hz, fs=rate_hz)
    sections = scipy.signal.tf2sos(np.convolve(once[0], once[0]), np.convolve(once[1], once[1]))
    return 10.0 ** (gain_db / 20.0), np.asarray(sections)


class LowEnd:
    """Gives for a block: the bumped signal, its low part for the trim, the low part for crosstalk.

    The state moves in strides of 32 frames: what comes in makes all outputs of all strides in one
    matrix product, only the state runs from stride to stride.
    """

    STRIDE = 32

    def __init__(self, contour: F64, shelf: F64, side: F64, tracks: int) -> None:
        bump = _state_space(contour)
        low = _state_space(shelf)
        beside = _state_space(side)
        n1, n2, n3 = len(bump[0]), len(low[0]), len(beside[0])
        a = np.zeros((n1 + n2 + n3,) * 2)
        a[:n1, :n1], a[n1 : n1 + n2, n1 : n1 + n2], a[n1 + n2 :, n1 + n2 :] = (
            bump[0], low[0], beside[0],
        )  # fmt: skip
        a[n1 : n1 + n2, :n1] = low[1] @ bump[2]
        b = np.concatenate([bump[1], low[1] @ bump[3], beside[1]])
        c = np.zeros((3, n1 + n2 + n3))
        c[0, :n1] = bump[2]
        c[1, :n1], c[1, n1 : n1 + n2] = low[3] @ bump[2], low[2]
        c[2, n1 + n2 :] = beside[2]
        d = np.concatenate([bump[3], low[3] @ bump[3], beside[3]])
        self._model = (a, b, c, d)
        self._state = np.zeros((len(a), tracks))
        self._matrices: dict[int, tuple[F32, F32, F64]] = {}

    def rest(self) -> None:
        """Forget what went in, as after a pause."""
        self._state = np.zeros_like(self._state)

    def process(self, block: F32) -> F32:
        """Filter a block (frames, tracks); the result is (3, frames, tracks)."""
        whole = len(block) // self.STRIDE * self.STRIDE
        parts = []
        if whole:
            parts.append(self._strides(block[:whole], self.STRIDE))
        if whole < len(block):
            parts.append(self._strides(block[whole:], len(block) - whole))
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)

    def _strides(self, block: F32, n: int) -> F32:
        drive, out, step = self._matrix(n)
        tracks, count, order = block.shape[1], len(block) // n, len(self._state)
        columns = np.empty((n + order, count, tracks), np.float32)
        columns[:n] = block.reshape(count, n, tracks).transpose(1, 0, 2)
        driven = (drive @ columns[:n].reshape(n, -1)).reshape(order, count, tracks)
        states = np.empty((count + 1, order, tracks))
        states[0] = self._state
        states[1:] = driven.transpose(1, 0, 2)
        for before, after in itertools.pairwise(states):
            after += step @ before
        self._state = states[count]
        columns[n:] = states[:count].transpose(1, 0, 2)
        result = (out @ columns.reshape(n + order, -1)).reshape(3, n, count, tracks)
        return result.transpose(0, 2, 1, 3).reshape(3, count * n, tracks)

    def _matrix(self, n: int) -> tuple[F32, F32, F64]:
        if n not in self._matrices:
            a, b, c, d = self._model
            order = len(a)
            powers = [np.eye(order)]
            for _ in range(n):
                powers.append(a @ powers[-1])
            drive = np.concatenate([powers[n - 1 - k] @ b for k in range(n)], axis=1)
            impulse = np.concatenate([d] + [c @ powers[k] @ b for k in range(n - 1)], axis=1)
            out = np.zeros((3, n, n + order))
            for k in range(n):
                out[:, k, : k + 1] = impulse[:, : k + 1][:, ::-1]
                out[:, k, n:] = c @ powers[k]
            every = out.reshape(3 * n, n + order).astype(np.float32)
            self._matrices[n] = drive.astype(np.float32), every, powers[n]
        return self._matrices[n]


Model = tuple[F64, F64, F64, F64]


def _state_space(sections: F64) -> Model:
    """Sections in series as one system; a companion form of all of them would lose its digits."""
    system = _section(sections[0])
    for section in sections[1:]:
        a1, b1, c1, d1 = system
        a2, b2, c2, d2 = _section(section)
        a = np.block([[a1, np.zeros((len(a1), len(a2)))], [b2 @ c1, a2]])
        b = np.concatenate([b1, b2 @ d1])
        system = a, b, np.concatenate([d2 @ c1, c2], axis=1), d2 @ d1
    return system


def _section(section: F64) -> Model:
    """One section, its states scaled to like size (poles lie close to 1)."""
    order = 2 if section[2] or section[5] else 1
    parts = section[: order + 1], section[3 : 4 + order]
    a, b, c, d = (np.array(m) for m in scipy.signal.tf2ss(*parts))
    for _ in range(20):
        for i in range(len(a)):
            row = np.sqrt((a[i] ** 2).sum() - a[i, i] ** 2 + (b[i] ** 2).sum()) + 1e-30
            column = np.sqrt((a[:, i] ** 2).sum() - a[i, i] ** 2 + (c[:, i] ** 2).sum()) + 1e-30
            factor = np.sqrt(row / column)
            a[i] /= factor
            a[:, i] *= factor
            b[i] /= factor
            c[:, i] *= factor
    return a, b, c, d


class Shelf:
    """A first-order section for all tracks: the long-wave time constant of an equalisation."""

    def __init__(self, section: F64, tracks: int) -> None:
        self._section = section
        self._state = np.zeros((1, 2, tracks))

    def rest(self) -> None:
        """Forget what went in, as after a pause."""
        self._state = np.zeros_like(self._state)

    def process(self, block: F32) -> F32:
        """Filter a block (frames, tracks)."""
        out, self._state = scipy.signal.sosfilt(self._section, block, axis=0, zi=self._state)
        return np.asarray(out, np.float32)


def low_end_shelf(
    equalisation: Equalisation, rate_hz: int, tracks: int, *, inverse: bool
) -> Shelf | None:
    """What `t1` asks of the record side (or, inverse, of the reproduce side); None without t1.

    The rise of long waves ends at a twentieth of its corner, where no head reads anything.
    """
    if equalisation.t1_us is None:
        return None
    corner_rad = 1e6 / equalisation.t1_us
    top, bottom = [1.0, corner_rad], [1.0, corner_rad / 20.0]
    b, a = scipy.signal.bilinear(*((bottom, top) if inverse else (top, bottom)), fs=rate_hz)
    return Shelf(scipy.signal.tf2sos(b, a), tracks)
