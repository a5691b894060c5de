"""`read` on what looks alike and is not: closed forms, and notes made of harmonics.

Overtones that fall with the 1.3rd power of their number are common practice for a string or pipe,
no source.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fluxbench.captures import CaptureReading, Kind, read_capture
from tests.captures import made

RATE_HZ = 48_000
SCALE_HZ = 220.0 * 2.0 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12, 14, 16]) / 12.0)


def read(tmp_path: Path, samples: "np.ndarray[Any, Any]", rate_hz: int = RATE_HZ) -> CaptureReading:
    return read_capture(f"{made.written(tmp_path / 'made.wav', samples, rate_hz)}")


def note(seconds: float, frequency_hz: float, overtones: int, decay: float) -> Any:
    time_s = made.times(seconds, RATE_HZ)
    wave = sum(
        np.sin(2.0 * np.pi * k * frequency_hz * time_s + k * k) / k**1.3
        for k in range(1, overtones + 1)
    )
    return 0.05 * wave * np.exp(-decay * time_s / seconds) * np.minimum(1.0, time_s / 0.01)


@pytest.mark.parametrize(
    ("seconds", "strings", "overtones", "decay"),
    [(3.0, 4, 6, 0.0), (0.5, 3, 8, 3.0), (2.0, 1, 4, 0.4), (6.0, 1, 20, 0.0)],
    ids=["organ", "strings", "flute", "drone"],
)
def test_music_is_programme(
    tmp_path: Path, seconds: float, strings: int, overtones: int, decay: float
) -> None:
    random = np.random.default_rng(8)
    bars = [
        sum(note(seconds, f, overtones, decay) for f in random.choice(SCALE_HZ, strings, False))
        for _ in range(round(6.0 / seconds))
    ]
    wave = np.concatenate(bars)[:, None] + made.noise(6.0, RATE_HZ, -80.0)
    assert {section.kind for section in read(tmp_path, wave).sections} == {Kind.PROGRAMME}


def test_a_tone_with_much_flutter_is_no_multitone(tmp_path: Path) -> None:
    """0.5 % at 4 Hz turns the phase by 3.9 rad, 0.3 % at 25 Hz by 0.4: lines on lines."""
    slow, fast = made.flutter_warp_s(4.0, 0.5), made.flutter_warp_s(25.0, 0.3)
    wave = made.tone(8.0, RATE_HZ, 3150.0, warp_s=lambda t: slow(t) + fast(t))
    (section,) = read(tmp_path, wave + made.noise(8.0, RATE_HZ, -80.0)).sections
    assert section.kind is Kind.TONE
    assert section.tone is not None
    assert section.tone.flutter is not None
    assert section.tone.flutter.unweighted_percent[0] == pytest.approx(0.8, rel=0.02)


def test_two_tones_at_once_are_a_multitone(tmp_path: Path) -> None:
    wave = made.tone(4.0, RATE_HZ, 1000.0, -24.0) + made.tone(4.0, RATE_HZ, 10_000.0, -14.0)
    (section,) = read(tmp_path, wave + made.noise(4.0, RATE_HZ, -70.0)).sections
    assert section.kind is Kind.MULTITONE


def test_a_head_far_out_hides_no_polarity(tmp_path: Path) -> None:
    """10 arc-min on a 2-inch 24-track at 7.5 in/s: 750 us from edge to edge, three quarters of a
    period of 1 kHz, 7.5 of 10 kHz; tracks 5 and 17 are turned over."""
    pitch_mm, speed_mm_per_s, angle_rad = 2.134, 190.5, 10.0 / 60.0 * np.pi / 180.0
    delays_us = 1e6 * np.arange(24) * pitch_mm * np.tan(angle_rad) / speed_mm_per_s
    signs = np.where(np.isin(np.arange(1, 25), (5, 17)), -1, 1)
    parts = [
        made.tone(2.0, RATE_HZ, f, (-20.0,) * 24, delays_us=delays_us) * signs
        for f in (1000.0, 10_000.0)
    ]
    wave = np.concatenate(parts) + made.noise(4.0, RATE_HZ, -80.0, tracks=24)
    reading = read(tmp_path, wave)
    assert reading.polarity == tuple(signs)
    assert reading.azimuth.delay_us == pytest.approx(delays_us, abs=0.05)


@pytest.mark.parametrize("gap_s", [0.0, 0.3])
def test_low_tones_of_neighbouring_third_octaves_are_two(tmp_path: Path, gap_s: float) -> None:
    """ISO 266: 50, 40 and 31.5 Hz; the last two lie 8.5 Hz apart."""
    silence = np.zeros((round(gap_s * RATE_HZ), 1))
    parts = [x for f in (50.0, 40.0, 31.5) for x in (made.tone(2.0, RATE_HZ, f), silence)]
    wave = np.concatenate(parts)
    found = read(tmp_path, wave + made.noise(len(wave) / RATE_HZ, RATE_HZ, -75.0)).sections
    tones = [section.tone.tone for section in found if section.tone is not None]
    assert [tone.frequency_hz[0] for tone in tones] == pytest.approx([50.0, 40.0, 31.5], rel=1e-4)
    assert [tone.level_dbfs[0] for tone in tones] == pytest.approx([-20.0] * 3, abs=0.01)


def test_floating_point_holds_more_than_full_scale(tmp_path: Path) -> None:
    """A sine of +6 dBFS in floating point is whole; cut at its half it is clipped."""
    wave = made.tone(2.0, RATE_HZ, 1000.0, 6.0)
    cut = np.clip(wave, -1.5, 1.5)
    path = made.written(
        tmp_path / "float.wav", np.concatenate([wave, cut], axis=1), RATE_HZ, "FLOAT"
    )
    (section,) = read_capture(f"{path}").sections
    assert section.tone is not None
    tone = section.tone.tone
    assert [validity.value for validity in tone.validity] == ["ok", "clipped"]
    assert tone.level_dbfs[0] == pytest.approx(6.0, abs=0.001)
