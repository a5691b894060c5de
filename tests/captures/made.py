"""Captures whose truth is a formula: exact sines, of a warped time where there is flutter.

Nothing here comes from `fluxbench.measure` or `fluxbench.signals`: what is read must agree with
the formula, not with another part of the project.
"""

import struct
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import soundfile  # type: ignore[import-untyped]
from numpy.typing import NDArray

F64 = NDArray[np.float64]


def amplitude(level_dbfs: float) -> float:
    """Peak of a sine; a full-scale one is 0 dBFS."""
    return float(10.0 ** (level_dbfs / 20.0))


def times(seconds: float, rate_hz: int) -> F64:
    return np.arange(round(seconds * rate_hz)) / rate_hz


def tone(
    seconds: float,
    rate_hz: int,
    frequency_hz: float,
    level_dbfs: float | Sequence[float] = -20.0,
    *,
    delays_us: Sequence[float] = (0.0,),
    harmonics_percent: dict[int, float] | None = None,
    warp_s: Callable[[F64], F64] = lambda time_s: 0.0 * time_s,
) -> F64:
    """A sine on every track, each later by its delay: sin(2 pi f (t + warp(t) - delay))."""
    levels = np.broadcast_to(level_dbfs, len(delays_us))
    time_s = times(seconds, rate_hz)
    time_s = time_s + warp_s(time_s)
    columns = []
    for delay_us, level in zip(delays_us, levels, strict=True):
        turn = 2.0 * np.pi * frequency_hz * (time_s - 1e-6 * delay_us)
        wave = np.sin(turn)
        for order, percent in (harmonics_percent or {}).items():
            wave = wave + 0.01 * percent * np.sin(order * turn)
        columns.append(amplitude(float(level)) * wave)
    return np.stack(columns, axis=1)


def flutter_warp_s(rate_hz: float, peak_percent: float) -> Callable[[F64], F64]:
    """Speed 1 + peak sin(2 pi f t): the integral of its deviation."""
    turn = 2.0 * np.pi * rate_hz
    return lambda time_s: 0.01 * peak_percent * (1.0 - np.cos(turn * time_s)) / turn


def noise(seconds: float, rate_hz: int, rms_dbfs: float, tracks: int = 1, seed: int = 1) -> F64:
    """White noise up to half the rate, rms re that of a full-scale sine."""
    random = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    return amplitude(rms_dbfs) / np.sqrt(2.0) * random.standard_normal((frames, tracks))


def sweep(seconds: float, rate_hz: int, start_hz: float, stop_hz: float, level_dbfs: float) -> F64:
    """Equal ratios in equal times, one track."""
    growth = np.log(stop_hz / start_hz) / seconds
    cycles = start_hz * np.expm1(growth * times(seconds, rate_hz)) / growth
    return amplitude(level_dbfs) * np.sin(2.0 * np.pi * cycles)[:, None]


def multitone(
    seconds: float, rate_hz: int, frequencies_hz: Sequence[float], level_dbfs: float
) -> F64:
    """Sines of one level, one track; phases after Schroeder (1970, from memory) keep it low."""
    time_s = times(seconds, rate_hz)
    count = len(frequencies_hz)
    waves = (
        np.sin(2.0 * np.pi * f * time_s - np.pi * k * (k - 1) / count)
        for k, f in enumerate(frequencies_hz)
    )
    return amplitude(level_dbfs) * np.sum(list(waves), axis=0)[:, None]


def dropped(samples: F64, rate_hz: int, start_s: float, length_ms: float, depth_db: float) -> F64:
    """A weak place: the level falls at once by `depth_db` and comes back at once."""
    first = round(start_s * rate_hz)
    weak = samples.copy()
    weak[first : first + round(1e-3 * length_ms * rate_hz)] *= amplitude(-depth_db)
    return weak


def written(
    path: Path, samples: F64, rate_hz: int, subtype: str = "PCM_24", **options: str
) -> Path:
    """A file with these samples, by the sound-file library."""
    soundfile.write(path, samples, rate_hz, subtype=subtype, **options)
    return path


def chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def wave_format(tracks: int, rate_hz: int, bits: int, tag: int = 1) -> bytes:
    align = tracks * bits // 8
    return struct.pack(
        "<HHIIHH", tag & 0xFFFF, tracks & 0xFFFF, rate_hz & 0xFFFFFFFF,
        rate_hz * align & 0xFFFFFFFF, align & 0xFFFF, bits & 0xFFFF,
    )  # fmt: skip


def wave_file(*chunks: bytes, kind: bytes = b"RIFF", size: int | None = None) -> bytes:
    """A WAV file of these chunks, whatever they are."""
    body = b"WAVE" + b"".join(chunks)
    return kind + struct.pack("<I", len(body) if size is None else size) + body


def long_wave_file(kind: bytes, data: bytes, *others: bytes) -> bytes:
    """RF64 or BW64: sizes in `ds64`, all ones in their places (ITU-R BS.2088, from memory)."""
    sizes = chunk(b"ds64", struct.pack("<QQQI", 0, len(data), 0, 0))
    held = b"data" + struct.pack("<I", 0xFFFFFFFF) + data
    return wave_file(sizes, *others, held, kind=kind, size=0xFFFFFFFF)
