"""What sections of a capture tell together, against captures whose truth is a formula.

Sines, white noise and products of both, made by `tests.captures.made`; the formulas stand beside
the checks. Nothing in a capture says what it is: `read` has to find it.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import fft

from fluxbench.base import Validity
from fluxbench.captures import CaptureReading, line_of, read_capture
from tests.captures import made

RATE_HZ = 48_000


def read(tmp_path: Path, samples: "np.ndarray[Any, Any]") -> CaptureReading:
    return read_capture(f"{made.written(tmp_path / 'made.wav', samples, RATE_HZ)}")


def by_track(rows: list[dict[str, Any]], name: str) -> list[Any]:
    return [row[name] for row in rows]


def test_crosstalk_of_tracks_that_carry_a_tone_one_after_the_other(tmp_path: Path) -> None:
    """Each track gives -50 dB of its neighbours, -62 of those beyond, a quarter turn later."""
    tracks, quiet = 3, made.noise(1.0, RATE_HZ, -85.0, tracks=3)
    parts = [quiet]
    for driven in range(tracks):
        levels = [-12.0 - {0: 0.0, 1: 50.0, 2: 62.0}[abs(t - driven)] for t in range(tracks)]
        delays_us = [0.0 if t == driven else 250.0 for t in range(tracks)]
        parts.append(made.tone(3.0, RATE_HZ, 1000.0, levels, delays_us=delays_us))
    wave = np.concatenate(parts) + made.noise(10.0, RATE_HZ, -85.0, tracks=3, seed=2)
    reading = read(tmp_path, wave)
    sections = [s for s in line_of(reading)["sections"] if s["kind"] == "tone"]
    assert [s["crosstalk"]["driven_tracks"] for s in sections] == [[1], [2], [3]]
    found = [{row["track"]: row["level_db"] for row in s["crosstalk"]["tracks"]} for s in sections]
    assert found[0] == pytest.approx({2: -50.0, 3: -62.0}, abs=0.1)
    assert found[1] == pytest.approx({1: -50.0, 3: -50.0}, abs=0.1)
    assert found[2] == pytest.approx({1: -62.0, 2: -50.0}, abs=0.1)
    # what leaks over is no signal of its own: its delay is no azimuth
    assert reading.azimuth.validity is Validity.NO_SIGNAL


def test_crosstalk_under_the_noise_is_a_limit(tmp_path: Path) -> None:
    """Noise of -60 dBFS has -87.8 in 40 Hz; 1 s tells 1 dB less: -78.8 re the tone."""
    levels = [-10.0, -110.0]
    parts = [made.tone(4.0, RATE_HZ, 1000.0, some, delays_us=(0.0, 0.0))
             for some in (levels, levels[::-1])]  # fmt: skip
    wave = np.concatenate(parts) + made.noise(8.0, RATE_HZ, -60.0, tracks=2)
    for section, beside in zip(line_of(read(tmp_path, wave))["sections"], (2, 1), strict=True):
        (row,) = section["crosstalk"]["tracks"]
        assert (row["track"], row["validity"], row["level_db"]) == (beside, "no_signal", None)
        assert -81.5 < row["hidden_below_db"] < -76.5


def test_crosstalk_of_the_odd_tracks_then_of_the_even_ones(tmp_path: Path) -> None:
    """63 Hz at -20 dB re the nearest with the tone, which are not all of one level."""
    own_db = np.array([-10.0, -11.0, -12.0, -10.0])
    parts = []
    for driven in (np.array([1, 0, 1, 0], bool), np.array([0, 1, 0, 1], bool)):
        nearest = {True: [-10.0, -10.0, -12.0, -12.0], False: [-11.0, -11.0, -10.0, -10.0]}
        levels = np.where(driven, own_db, np.array(nearest[bool(driven[0])]) - 20.0)
        parts.append(made.tone(3.0, RATE_HZ, 63.0, levels.tolist(), delays_us=(0.0,) * 4))
    wave = np.concatenate(parts) + made.noise(6.0, RATE_HZ, -80.0, tracks=4)
    odd, even = line_of(read(tmp_path, wave))["sections"]
    assert (odd["crosstalk"]["driven_tracks"], even["crosstalk"]["driven_tracks"]) == (
        [1, 3], [2, 4],
    )  # fmt: skip
    for section in (odd, even):
        levels_db = by_track(section["crosstalk"]["tracks"], "level_db")
        assert levels_db == pytest.approx([-20.0, -20.0], abs=0.05)


@pytest.mark.parametrize("second_dbfs", [-18.0, -32.0, -60.0])
def test_a_weak_or_dead_track_is_no_crosstalk(tmp_path: Path, second_dbfs: float) -> None:
    """Nothing says that it should not have the tone: delay and polarity are its own."""
    delays_us = (0.0, 11.0)
    wave = made.tone(3.0, RATE_HZ, 1000.0, [-10.0, second_dbfs], delays_us=delays_us)
    line = line_of(read(tmp_path, wave + made.noise(3.0, RATE_HZ, -90.0, tracks=2)))
    assert "crosstalk" not in line["sections"][0]
    assert line["azimuth"]["delay_us"] == pytest.approx(delays_us, abs=0.5)


def test_what_erasing_left(tmp_path: Path) -> None:
    """-72 and -76 dB of 1 kHz under -70 dBFS of noise, nothing of 3 kHz."""
    tone = made.tone(3.0, RATE_HZ, 1000.0, [-10.0, -11.0], delays_us=(0.0, 0.0))
    other = made.tone(3.0, RATE_HZ, 3010.0, [-10.0, -11.0], delays_us=(0.0, 0.0))
    erased = made.tone(5.0, RATE_HZ, 1000.0, [-82.0, -87.0], delays_us=(0.0, 0.0))
    erased += made.noise(5.0, RATE_HZ, -70.0, tracks=2)
    line = line_of(read(tmp_path, np.concatenate([other, tone, erased])))
    noise = line["sections"][2]
    assert noise["kind"] == "noise"
    three, one = sorted(noise["remains"], key=lambda each: -each["frequency_hz"])
    assert (three["tone_start_s"], one["tone_start_s"]) == pytest.approx((0.0, 3.0), abs=0.03)
    for row, truth_db in zip(one["tracks"], (-72.0, -76.0), strict=True):
        assert 0.1 < row["level_db_uncertainty"] < 0.8
        assert abs(row["level_db"] - truth_db) < 4.0 * row["level_db_uncertainty"]
    assert by_track(three["tracks"], "validity") == ["no_signal"] * 2
    assert all(-87.0 < limit < -75.0 for limit in by_track(three["tracks"], "hidden_below_db"))


def test_a_badly_erased_tone_is_still_a_tone_and_told_as_what_is_left(tmp_path: Path) -> None:
    """45 dB down it stands far above the noise."""
    parts = [made.tone(3.0, RATE_HZ, 1000.0, level) for level in (-10.0, -55.0)]
    wave = np.concatenate(parts) + made.noise(6.0, RATE_HZ, -85.0)
    _, weak = line_of(read(tmp_path, wave))["sections"]
    assert weak["kind"] == "tone"
    assert weak["remains"][0]["tracks"][0]["level_db"] == pytest.approx(-45.0, abs=0.02)


def multiplied(seconds: float, level_db: float, seed: int) -> "np.ndarray[Any, Any]":
    """Noise that multiplies a tone: flat from 30 to 450 Hz, so much below it, (frames,)."""
    random = np.random.default_rng(seed)
    frames = round(seconds * RATE_HZ)
    lines = np.zeros(frames // 2 + 1, complex)
    inside = slice(round(30 * seconds), round(450 * seconds))
    lines[inside] = np.exp(2j * np.pi * random.random(inside.stop - inside.start))
    swing = fft.irfft(lines, frames)
    return np.asarray(swing * made.amplitude(level_db) / np.sqrt(np.mean(swing**2)))


def test_modulation_noise_less_that_of_silence(tmp_path: Path) -> None:
    """-50 and -46 dB re the tone, within half its frequency; noise that is always there is not."""
    levels_db = (-50.0, -46.0)
    tone = made.tone(4.0, RATE_HZ, 1000.0, -12.0, delays_us=(0.0, 0.0))
    swing = np.stack([multiplied(4.0, level, k) for k, level in enumerate(levels_db)], axis=1)
    wave = np.concatenate([tone * (1.0 + swing), np.zeros((3 * RATE_HZ, 2))])
    line = line_of(read(tmp_path, wave + made.noise(7.0, RATE_HZ, -52.0, tracks=2)))
    found = line["sections"][0]["modulation_noise"]["tracks"]
    # -52 dBFS over 24 kHz is -65.9 between 500 and 1500 Hz, re the tone -53.9: not small beside it
    assert by_track(found, "level_db") == pytest.approx(levels_db, abs=0.6)
    assert all(0.05 < error < 0.5 for error in by_track(found, "level_db_uncertainty"))


def test_no_modulation_noise_is_made_up(tmp_path: Path) -> None:
    wave = np.concatenate([made.tone(4.0, RATE_HZ, 1000.0, -12.0), np.zeros((3 * RATE_HZ, 1))])
    line = line_of(read(tmp_path, wave + made.noise(7.0, RATE_HZ, -60.0)))
    (row,) = line["sections"][0]["modulation_noise"]["tracks"]
    assert row["validity"] == "no_signal"
    assert -80.0 < row["hidden_below_db"] < -65.0


@pytest.mark.parametrize("turn_s", [0.94, 1.5, 2.1])
def test_print_through_before_and_after_a_burst(tmp_path: Path, turn_s: float) -> None:
    """A burst of half a second and its prints a turn away: -58 and -54 dB, -57 and -53 dB.

    1 kHz at 15 in/s, turns from a hub to a full pack (closed form in the physics reference).
    """
    length_s, at_s, tracks = 10.0, 5.0, 2
    wave = made.noise(length_s, RATE_HZ, -75.0, tracks=tracks)
    echoes_db = {0.0: (0.0, 0.0), -turn_s: (-58.0, -57.0), turn_s: (-54.0, -53.0)}
    for off_s, levels_db in echoes_db.items():
        levels = [-8.0 + level for level in levels_db]
        burst = made.tone(0.5, RATE_HZ, 1000.0, levels, delays_us=(0.0, 0.0))
        first = round((at_s + off_s) * RATE_HZ)
        wave[first : first + len(burst)] += burst
    line = line_of(read(tmp_path, wave))
    (told,) = [s["print_through"] for s in line["sections"] if "print_through" in s]
    assert told["turn_s"] == pytest.approx(turn_s, abs=0.02)
    assert by_track(told["before"], "level_db") == pytest.approx([-58.0, -57.0], abs=0.8)
    assert by_track(told["after"], "level_db") == pytest.approx([-54.0, -53.0], abs=0.8)


def test_a_burst_without_prints_has_a_limit_and_no_turn(tmp_path: Path) -> None:
    wave = made.noise(10.0, RATE_HZ, -75.0)
    wave[5 * RATE_HZ : round(5.5 * RATE_HZ)] += made.tone(0.5, RATE_HZ, 1000.0, -8.0)
    line = line_of(read(tmp_path, wave))
    (told,) = [s["print_through"] for s in line["sections"] if "print_through" in s]
    assert told["turn_s"] is None
    for side in ("before", "after"):
        (row,) = told[side]
        assert row["validity"] == "no_signal"
        assert -105.0 < row["hidden_below_db"] < -80.0


def test_level_along_a_long_tone(tmp_path: Path) -> None:
    """0.3 dB a minute up, and none: the slope within three standard errors and 0.03 dB."""
    time_s = made.times(40.0, RATE_HZ)[:, None]
    rise = 10.0 ** (np.array([0.3, 0.0]) / 60.0 * time_s / 20.0)
    wave = made.tone(40.0, RATE_HZ, 1000.0, delays_us=(0.0, 0.0)) * rise
    line = line_of(read(tmp_path, wave + made.noise(40.0, RATE_HZ, -60.0, tracks=2)))
    rows = line["sections"][0]["along"]["tracks"]
    slopes = by_track(rows, "slope_db_per_min")
    assert slopes == pytest.approx([0.3, 0.0], abs=0.03)
    errors = by_track(rows, "slope_db_per_min_uncertainty")
    assert all(abs(s - t) < 3.0 * e for s, t, e in zip(slopes, (0.3, 0.0), errors, strict=True))
    assert by_track(rows, "range_db") == pytest.approx([0.2, 0.0], abs=0.05)


def test_level_at_two_places_of_a_reel(tmp_path: Path) -> None:
    """Track 1 loses 0.2 dB, track 2 gains 0.1, from 1.5 s to 13.5 s."""
    tones = [made.tone(3.0, RATE_HZ, 1000.0, level, delays_us=(0.0, 0.0))
             for level in ([-20.0, -20.0], [-20.2, -19.9])]  # fmt: skip
    gap = np.zeros((9 * RATE_HZ, 2))
    wave = np.concatenate([tones[0], gap, tones[1]])
    line = line_of(read(tmp_path, wave + made.noise(15.0, RATE_HZ, -70.0, tracks=2)))
    (along,) = line["along_reel"]
    assert along["starts_s"] == pytest.approx([0.0, 12.0], abs=0.03)
    slopes = by_track(along["tracks"], "slope_db_per_min")
    assert slopes == pytest.approx([-1.0, 0.5], abs=0.06)
    assert by_track(along["tracks"], "range_db") == pytest.approx([0.2, 0.1], abs=0.01)


def cubic(peak: float) -> "tuple[float, float]":
    """x - x³ of a sine: its fundamental, and the third harmonic over it."""
    fundamental = peak * (1.0 - 0.75 * peak**2)
    return fundamental, 0.25 * peak**3 / fundamental


def test_a_sweep_of_levels_to_3_per_cent(tmp_path: Path) -> None:
    """x - x³ in steps of 1 dB: 3 % where the peak squared is 0.12 / 1.09 (closed form)."""
    peaks = [0.1 * 10.0 ** (k / 20.0) for k in range(13)]
    parts = []
    for peak in peaks:
        sine = made.tone(1.5, RATE_HZ, 1013.0, 20.0 * np.log10(peak))
        parts += [sine - sine**3, np.zeros((RATE_HZ, 1))]
    wave = np.concatenate(parts) + made.noise(2.5 * len(peaks), RATE_HZ, -90.0)
    (sweep,) = line_of(read(tmp_path, wave))["level_sweeps"]
    assert sweep["frequency_hz"] == pytest.approx(1013.0, abs=0.01)
    assert sweep["step_db"] == 1.0
    (row,) = sweep["tracks"]
    at_limit = np.sqrt(0.12 / 1.09)
    expected = 20.0 * np.log10(cubic(at_limit)[0])
    assert cubic(at_limit)[1] == pytest.approx(0.03)
    assert row["maximum_output_dbfs"] == pytest.approx(expected, abs=0.02)
    squeezed = [20.0 * np.log10(p / cubic(p)[0] * cubic(0.1)[0] / 0.1) for p in peaks]
    # the gain is the mean of the lowest four, 0.03 dB of it bent already
    assert row["compression_db"] == pytest.approx(squeezed, abs=0.04)
    assert "highest_output_dbfs" not in row


def test_a_sweep_of_a_short_wave_to_its_highest_output(tmp_path: Path) -> None:
    """Output x exp(-x²/2), in steps of 2 dB: highest at x = 1, 4.343 dB below it (closed form)."""
    sent_db = np.arange(-20.0, 5.0, 2.0)
    x = 10.0 ** (sent_db / 20.0)
    levels = -10.0 + 20.0 * np.log10(x * np.exp(-(x**2) / 2.0))
    parts: list[Any] = []
    for level in levels:
        parts += [made.tone(1.5, RATE_HZ, 10_000.0, level), np.zeros((RATE_HZ, 1))]
    wave = np.concatenate(parts) + made.noise(2.5 * len(levels), RATE_HZ, -90.0)
    (sweep,) = line_of(read(tmp_path, wave))["level_sweeps"]
    assert sweep["step_db"] == 2.0
    (row,) = sweep["tracks"]
    assert row["highest_validity"] == "ok"
    assert row["highest_output_dbfs"] == pytest.approx(-10.0 - 10.0 / np.log(10.0), abs=0.03)


SENT_HZ = (33.0, 41.0, 52.0, 64.0, 81.0, 103.0, 131.0, 162.0, 203.0, 254.0, 316.0, 402.0, 503.0,
           633.0, 804.0, 1005.0, 2003.0, 4011.0, 8009.0, 12_503.0)  # fmt: skip


def head_bump_db(frequency_hz: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """A bump of 2 dB at 55 Hz and a dip of 1 dB at 160 Hz, bells over the octaves."""
    octaves = np.log2(np.maximum(frequency_hz, 1.0))
    bump = 2.0 * np.exp(-(((octaves - np.log2(55.0)) / 0.5) ** 2))
    return np.asarray(bump - 1.0 * np.exp(-(((octaves - np.log2(160.0)) / 0.5) ** 2)))


def through_the_head(wave: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """A signal after that response, without any delay: its spectrum times the gain."""
    frames = len(wave)
    gain = 10.0 ** (head_bump_db(fft.rfftfreq(frames, 1.0 / RATE_HZ)) / 20.0)
    return np.asarray(fft.irfft(fft.rfft(wave, axis=0) * gain[:, None], frames, axis=0))


def test_multitone_stepped_tones_and_sweep_agree_on_one_capture(tmp_path: Path) -> None:
    """0.1 dB rms and 0.3 dB at most off the formula, each of them; bump and dip as made."""
    stepped = [made.tone(2.0, RATE_HZ, f, -30.0) for f in SENT_HZ]
    gap = np.zeros((RATE_HZ, 1))
    parts = [made.multitone(6.0, RATE_HZ, SENT_HZ, -30.0), gap]
    parts += [made.sweep(20.0, RATE_HZ, 20.0, 20_000.0, -20.0), gap, *stepped]
    wave = through_the_head(np.concatenate(parts))
    line = line_of(read(tmp_path, wave + made.noise(len(wave) / RATE_HZ, RATE_HZ, -90.0)))
    swept = {s["kind"]: s for s in line["sections"] if s["kind"] in ("multitone", "sweep")}
    ways = {"multitone": swept["multitone"], "sweep": swept["sweep"], "stepped": line["stepped"]}
    for way, told in ways.items():
        at_hz = np.array([point["frequency_hz"] for point in told["points"]])
        inside = (at_hz > 30.0) & (at_hz < 15_000.0)
        zero = -20.0 if way == "sweep" else -30.0
        level_db = np.array([p["tracks"][0]["level_dbfs"] for p in told["points"]]) - zero
        off_db = (level_db - head_bump_db(at_hz))[inside]
        assert np.sqrt(np.mean(off_db**2)) < 0.1, way
        assert np.abs(off_db).max() < 0.3, way
        (low,) = told["low_end"]
        assert low["bump_hz"] == pytest.approx(55.0, rel=0.04), way
        assert low["bump_db"] == pytest.approx(2.0, abs=0.15), way
        assert low["dip_hz"] == pytest.approx(160.0, rel=0.05), way
        assert low["dip_db"] == pytest.approx(-1.0, abs=0.15), way
        octaves = np.linspace(np.log2(30.0), np.log2(300.0), 2001)
        mean_db = float(np.mean(head_bump_db(2.0**octaves)))
        assert low["mean_db"] == pytest.approx(mean_db, abs=0.06), way
        assert abs(low["mean_db"] - mean_db) < 2.5 * low["mean_db_uncertainty"], way
