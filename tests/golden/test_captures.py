"""`read` against captures whose truth is a formula: what goes in must come out.

The limits are those of the project's issue on verification; the formulas stand beside the checks.
"""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate

from fluxbench.base import Validity
from fluxbench.captures import CaptureReading, Kind, line_of, read_capture
from tests.captures import made

REFERENCE = Path(__file__).parents[1] / "reference"
RATE_HZ = 48_000


def read(tmp_path: Path, samples: "np.ndarray[Any, Any]", rate_hz: int = RATE_HZ) -> CaptureReading:
    return read_capture(f"{made.written(tmp_path / 'made.wav', samples, rate_hz)}")


def only(reading: CaptureReading) -> Any:
    """The one section of a capture."""
    (section,) = reading.sections
    return section


def test_level_frequency_and_delay_at_60_db_signal_to_noise(tmp_path: Path) -> None:
    """Level +-0.01 dB, offset +-0.002 %, delay +-0.05 us; noise 60 dB below the tone."""
    delays_us = (0.0, 7.3, -21.9, 14.1)
    levels_dbfs = (-20.0, -20.7, -19.1, -22.0)
    frequency_hz = 10_000.0 * 1.0031
    wave = made.tone(5.0, RATE_HZ, frequency_hz, levels_dbfs, delays_us=delays_us)
    line = line_of(read(tmp_path, wave + made.noise(5.0, RATE_HZ, -80.0, tracks=4)))
    (section,) = line["sections"]
    levels = [track["level_dbfs"] for track in section["tracks"]]
    assert levels == pytest.approx(levels_dbfs, abs=0.01)
    assert section["nominal_hz"] == 10_000.0
    assert section["offset_percent"] == pytest.approx(0.31, abs=0.002)
    assert line["azimuth"]["delay_us"] == pytest.approx(delays_us, abs=0.05)


def test_a_longer_wave_counts_the_whole_turns_of_a_shorter_one(tmp_path: Path) -> None:
    """130 us are 1.3 periods of 10 kHz; 1 kHz tells that they are not 30."""
    delays_us = (0.0, 130.0)
    parts = [made.tone(2.0, RATE_HZ, f, delays_us=delays_us) for f in (10_000.0, 1000.0)]
    azimuth = read(tmp_path, np.concatenate(parts)).azimuth
    assert azimuth.frequency_hz == pytest.approx(10_000.0, abs=0.1)
    assert azimuth.delay_us == pytest.approx(delays_us, abs=0.05)


def test_harmonics(tmp_path: Path) -> None:
    """+-0.01 %; THD is the root of the sum of squares."""
    content = {2: 0.5, 3: 1.2, 4: 0.05}
    wave = made.tone(4.0, RATE_HZ, 1000.0, harmonics_percent=content)
    section = only(read(tmp_path, wave + made.noise(4.0, RATE_HZ, -90.0)))
    percent = section.tone.harmonics.percent[:, 0]
    assert percent[:2] == pytest.approx([0.5, 1.2], abs=0.01)
    total = np.sqrt(0.5**2 + 1.2**2 + 0.05**2)
    assert section.tone.harmonics.total_percent[0] == pytest.approx(total, abs=0.01)


def flutter_weights() -> dict[float, float]:
    """IEC 60386:1972 Table I, from memory: dB by frequency."""
    rows = csv.DictReader((REFERENCE / "flutter_weighting.csv").read_text().splitlines())
    return {float(row["freq_hz"]): float(row["weight_db"]) for row in rows}


@pytest.mark.parametrize(
    ("rate_hz", "flutter_hz"),
    [(RATE_HZ, hz) for hz in (0.8, 4.0, 10.0, 63.0)] + [(44_100, 0.8), (44_100, 63.0)]
    + [(96_000, 0.8), (96_000, 63.0)],
)  # fmt: skip
def test_flutter_on_sines(tmp_path: Path, rate_hz: int, flutter_hz: float) -> None:
    """Peak 0.2 % times the table's weight: quasi-peak +-4 %; 2 sigma is 0.9969 of it, +-2 %."""
    warp_s = made.flutter_warp_s(flutter_hz, 0.2)
    wave = made.tone(8.0, rate_hz, 3150.0, warp_s=warp_s)
    section = only(read(tmp_path, wave + made.noise(8.0, rate_hz, -90.0), rate_hz))
    expected = 0.2 * 10.0 ** (flutter_weights()[flutter_hz] / 20.0)
    flutter = section.tone.flutter
    assert flutter.weighted_quasi_peak_percent[0] == pytest.approx(expected, rel=0.04)
    assert flutter.weighted_2_sigma_percent[0] == pytest.approx(0.9969 * expected, rel=0.02)
    assert flutter.unweighted_percent[0] == pytest.approx(0.2, rel=0.1)
    assert flutter.components[0].frequency_hz == pytest.approx(flutter_hz, abs=0.05)
    assert flutter.components[0].peak_percent == pytest.approx(0.2, rel=0.04)


def test_every_drop_out_is_found_and_none_invented(tmp_path: Path) -> None:
    """From 5 ms and 4 dB on, with square edges; two tracks, the second without any."""
    places = ((1.0, 5.0, 4.0), (2.0, 10.0, 6.0), (3.2, 40.0, 12.0), (4.1, 200.0, 20.0))
    wave = made.tone(6.0, RATE_HZ, 1000.0, delays_us=(0.0, 0.0))
    for start_s, length_ms, depth_db in places:
        wave[:, :1] = made.dropped(wave[:, :1], RATE_HZ, start_s, length_ms, depth_db)
    section = only(read(tmp_path, wave + made.noise(6.0, RATE_HZ, -80.0, tracks=2)))
    assert section.end_s - section.start_s == pytest.approx(6.0, abs=0.05)
    found, none = line_of_drop_outs(section)
    assert none == []
    assert len(found) == len(places)
    for drop, (start_s, length_ms, depth_db) in zip(found, places, strict=True):
        assert drop["start_s"] == pytest.approx(start_s, abs=2e-3)
        assert drop["length_ms"] == pytest.approx(length_ms, abs=2.0)
        assert drop["depth_db"] == pytest.approx(depth_db, rel=0.05)


def test_many_and_long_drop_outs_leave_the_rest_of_a_tone_to_be_read(tmp_path: Path) -> None:
    """Deep ones of up to 0.4 s, wherever they lie, found whole; the level is the mean power's."""
    random = np.random.default_rng(24)
    wave = made.tone(14.0, RATE_HZ, 3150.0, delays_us=(0.0, 0.0))
    share = np.ones(2)
    places: list[list[tuple[float, float, float]]] = [[], []]
    for track, found_on in enumerate(places):
        for start_s in np.arange(1.0, 12.5, 1.7) + random.uniform(0.0, 0.6):
            length_ms, depth_db = random.uniform(30.0, 400.0), random.uniform(6.0, 25.0)
            found_on.append((start_s, length_ms, depth_db))
            one = wave[:, track : track + 1]
            wave[:, track : track + 1] = made.dropped(one, RATE_HZ, *found_on[-1])
            share[track] -= 1e-3 * length_ms / 14.0 * (1.0 - 10.0 ** (-depth_db / 10.0))
    section = only(read(tmp_path, wave + made.noise(14.0, RATE_HZ, -65.0, tracks=2)))
    assert section.tone.tone.validity == (Validity.OK, Validity.OK)
    assert section.tone.tone.level_dbfs == pytest.approx(-20.0 + 10.0 * np.log10(share), abs=0.05)
    for found, truth in zip(line_of_drop_outs(section), places, strict=True):
        assert len(found) == len(truth)
        for drop, (start_s, length_ms, depth_db) in zip(found, truth, strict=True):
            assert drop["start_s"] == pytest.approx(start_s, abs=2e-3)
            assert drop["length_ms"] == pytest.approx(length_ms, abs=2.0)
            assert drop["depth_db"] == pytest.approx(depth_db, rel=0.06)


def line_of_drop_outs(section: Any) -> list[list[dict[str, float]]]:
    return [
        [
            {
                "start_s": section.measured_from_s + drop.start_s,
                "length_ms": drop.length_ms,
                "depth_db": drop.depth_db,
            }
            for drop in track
        ]
        for track in section.tone.drop_outs
    ]


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_white_noise(tmp_path: Path, rate_hz: int) -> None:
    """Band and A-weighting +-0.1 dB of their integrals over a flat density; no hum invented.

    A-weighting has no upper end, so it is integrated up to half the rate. It is the closed form of
    IEC 61672-1:2013 Annex E with its rounded frequencies.
    """
    section = only(read(tmp_path, made.noise(12.0, rate_hz, -40.0), rate_hz))
    assert section.kind is Kind.NOISE
    in_band = 10.0 * np.log10((20_000.0 - 20.0) / (rate_hz / 2))
    reading = section.noise
    assert reading.unweighted_dbfs[0] == pytest.approx(-40.0 + in_band, abs=0.1)
    frequency_hz = np.linspace(1.0, rate_hz / 2, 200_001)
    weighted = integrate.trapezoid(a_weight(frequency_hz), frequency_hz) / (rate_hz / 2)
    assert reading.a_weighted_dbfs[0] == pytest.approx(-40.0 + 10.0 * np.log10(weighted), abs=0.1)
    assert reading.hum == ((),)


def a_weight(frequency_hz: "np.ndarray[Any, Any]") -> Any:
    """Power gain, 1 at 1 kHz."""

    def gain(f: Any) -> Any:
        return (12194.217**2 * f**4) / (
            (f**2 + 20.598997**2)
            * np.sqrt((f**2 + 107.65265**2) * (f**2 + 737.86223**2))
            * (f**2 + 12194.217**2)
        )

    return (gain(frequency_hz) / gain(1000.0)) ** 2


def test_hum_in_noise(tmp_path: Path) -> None:
    """Two lines, +-0.3 dB, and no others."""
    wave = made.noise(10.0, RATE_HZ, -60.0)
    wave += made.tone(10.0, RATE_HZ, 50.0, -62.0) + made.tone(10.0, RATE_HZ, 150.0, -70.0)
    section = only(read(tmp_path, wave))
    assert section.kind is Kind.NOISE
    found = [(line.frequency_hz, line.level_dbfs) for line in section.noise.hum[0]]
    assert [frequency_hz for frequency_hz, _ in found] == pytest.approx([50.0, 150.0], abs=0.5)
    assert [level_dbfs for _, level_dbfs in found] == pytest.approx([-62.0, -70.0], abs=0.3)


@pytest.mark.parametrize("frequency_hz", [101.0, 99.3, 59.6, 151.0])
def test_a_weak_tone_near_the_mains_is_a_tone(tmp_path: Path, frequency_hz: float) -> None:
    """A tone on the tape is off by the speed: no multiple of the mains, so no hum."""
    wave = made.tone(8.0, RATE_HZ, frequency_hz, -49.0) + made.noise(8.0, RATE_HZ, -80.0)
    section = only(read(tmp_path, wave))
    assert section.kind is Kind.TONE
    assert section.tone.tone.frequency_hz[0] == pytest.approx(frequency_hz, rel=2e-5)
    assert section.tone.tone.level_dbfs[0] == pytest.approx(-49.0, abs=0.01)


@pytest.mark.parametrize("frequency_hz", [50.03, 59.97, 100.06, 119.95])
def test_a_weak_line_of_the_mains_alone_is_hum(tmp_path: Path, frequency_hz: float) -> None:
    wave = made.tone(8.0, RATE_HZ, frequency_hz, -49.0) + made.noise(8.0, RATE_HZ, -80.0)
    section = only(read(tmp_path, wave))
    assert section.kind is Kind.NOISE
    ((line,),) = section.noise.hum
    assert line.frequency_hz == pytest.approx(frequency_hz, abs=0.02)
    assert line.level_dbfs == pytest.approx(-49.0, abs=0.3)


SENT_HZ = (35.0, 65.0, 125.0, 255.0, 505.0, 1005.0, 2005.0, 4005.0, 8005.0, 12_505.0, 16_005.0)


def test_multitone(tmp_path: Path) -> None:
    wave = made.multitone(4.0, RATE_HZ, SENT_HZ, -30.0) + made.noise(4.0, RATE_HZ, -80.0)
    section = only(read(tmp_path, wave))
    assert section.kind is Kind.MULTITONE
    assert section.response.frequencies_hz == pytest.approx(SENT_HZ, abs=0.2)
    assert section.response.level_dbfs[:, 0] == pytest.approx(-30.0, abs=0.02)


def test_side_lines_of_a_swaying_level_are_no_tones(tmp_path: Path) -> None:
    """0.2 dB at 9 Hz put lines 39 dB (half the index) below 65 and 83 Hz at 74 Hz: not sent."""
    sent_hz = (32.0, 42.0, 53.0, 65.0, 83.0, *SENT_HZ[2:])
    sway = 10 ** (0.2 / 20 * np.sin(2 * np.pi * 9.0 * made.times(4.0, RATE_HZ)))
    wave = made.multitone(4.0, RATE_HZ, sent_hz, -30.0) * sway[:, None]
    section = only(read(tmp_path, wave + made.noise(4.0, RATE_HZ, -90.0)))
    assert section.response.frequencies_hz == pytest.approx(sent_hz, abs=0.2)


def test_sweep(tmp_path: Path) -> None:
    wave = made.sweep(8.0, RATE_HZ, 20.0, 20_000.0, -20.0) + made.noise(8.0, RATE_HZ, -80.0)
    section = only(read(tmp_path, wave))
    assert section.kind is Kind.SWEEP
    assert (section.start_s, section.end_s) == pytest.approx((0.0, 8.0), abs=0.1)
    points = section.response.frequencies_hz
    assert {100.0, 1000.0, 10_000.0} <= set(points)
    inside = (points > 60.0) & (points < 15_000.0)
    assert section.response.level_dbfs[inside, 0] == pytest.approx(-20.0, abs=0.1)


def test_sections_in_a_row(tmp_path: Path) -> None:
    """Silence, tones that follow each other, the same tone weaker, noise, a glide: all apart."""
    tones = [(1000.0, -20.0), (10_000.0, -20.0), (100.0, -20.0), (1000.0, -20.0), (1000.0, -26.0)]
    parts = [made.noise(1.5, RATE_HZ, -90.0)]
    parts += [made.tone(1.5, RATE_HZ, *tone) for tone in tones]
    parts += [made.noise(1.5, RATE_HZ, -50.0), made.sweep(3.0, RATE_HZ, 50.0, 10_000.0, -20.0)]
    wave = np.concatenate(parts) + made.noise(13.5, RATE_HZ, -100.0)
    reading = read(tmp_path, wave)
    kinds = [section.kind.value for section in reading.sections]
    assert kinds == ["noise", *["tone"] * 5, "noise", "sweep"]
    edges_s = [0.0, 1.5, 3.0, 4.5, 6.0, 7.5, 9.0, 10.5, 13.5]
    starts = [section.start_s for section in reading.sections]
    ends = [section.end_s for section in reading.sections]
    assert starts == pytest.approx(edges_s[:-1], abs=0.06)
    assert ends == pytest.approx(edges_s[1:], abs=0.06)
    levels = [s.tone.tone.level_dbfs[0] for s in reading.sections if s.tone is not None]
    assert levels == pytest.approx([level for _, level in tones], abs=0.01)


@pytest.mark.parametrize("step_db", [-10.0, -1.2, 0.5])
def test_a_tone_that_goes_on_at_another_level_is_another_section(
    tmp_path: Path, step_db: float
) -> None:
    """Two levels of one tone without a gap are told apart, each with its own."""
    levels = (-20.0, -20.0 + step_db)
    wave = np.concatenate([made.tone(4.0, RATE_HZ, 1000.0, level) for level in levels])
    first, second = read(tmp_path, wave + made.noise(8.0, RATE_HZ, -70.0)).sections
    assert (first.end_s, second.start_s) == pytest.approx((4.0, 4.0), abs=0.03)
    found = [float(section.tone.tone.level_dbfs[0]) for section in (first, second)]
    assert found == pytest.approx(levels, abs=0.01)


@pytest.mark.parametrize("period_s", [0.8, 3.0, 20.0])
def test_a_level_that_sways_is_one_section(tmp_path: Path, period_s: float) -> None:
    """By 0.5 dB up and down, as tape does, it neither steps nor drops out."""
    time_s = made.times(20.0, RATE_HZ)
    sway = 10.0 ** (0.5 / 20.0 * np.sin(2.0 * np.pi * time_s / period_s))
    wave = made.tone(20.0, RATE_HZ, 1000.0) * sway[:, None]
    section = only(read(tmp_path, wave + made.noise(20.0, RATE_HZ, -70.0)))
    assert section.tone.tone.level_dbfs[0] == pytest.approx(
        -20.0 + 10.0 * np.log10(np.mean(sway**2)), abs=0.02
    )
    assert line_of_drop_outs(section) == [[]]


def test_a_drop_out_of_all_tracks_does_not_split_a_section(tmp_path: Path) -> None:
    wave = made.dropped(made.tone(4.0, RATE_HZ, 1000.0), RATE_HZ, 1.8, 400.0, 40.0)
    section = only(read(tmp_path, wave + made.noise(4.0, RATE_HZ, -80.0)))
    assert (section.start_s, section.end_s) == pytest.approx((0.0, 4.0), abs=0.03)


def test_speech_like_sound_is_programme(tmp_path: Path) -> None:
    """Noise whose level swings by 30 dB four times a second."""
    time_s = made.times(4.0, RATE_HZ)
    swing = 10.0 ** (-1.5 * np.sin(2 * np.pi * 2.0 * time_s) ** 2)
    reading = read(tmp_path, made.noise(4.0, RATE_HZ, -20.0) * swing[:, None])
    assert {section.kind for section in reading.sections} == {Kind.PROGRAMME}
    assert reading.validity is Validity.OK


def test_reversed_polarity_hides_nothing(tmp_path: Path) -> None:
    """Two tracks that cancel each other exactly are still a tone, half a turn apart."""
    wave = made.tone(2.0, RATE_HZ, 1000.0)
    section = only(read(tmp_path, np.concatenate([wave, -wave], axis=1)))
    assert section.kind is Kind.TONE
    assert abs(section.tone.tone.phase_deg[1]) == pytest.approx(180.0, abs=0.01)


@pytest.mark.parametrize("longest_hz", [100.0, 1000.0])
def test_reversed_tracks_are_told_and_their_delays_are_delays(
    tmp_path: Path, longest_hz: float
) -> None:
    """Delays known, tracks 2, 5 and 6 of seven turned over: half a turn is no time."""
    delays_us = (0.0, 11.0, -6.0, 19.5, 3.0, 28.0, -14.0)
    signs = np.array([1, -1, 1, 1, -1, -1, 1])
    parts = [
        made.tone(3.0, RATE_HZ, f, (-20.0,) * 7, delays_us=delays_us) * signs
        for f in (longest_hz, 10_000.0, 15_000.0)
    ]
    reading = read(tmp_path, np.concatenate(parts) + made.noise(9.0, RATE_HZ, -80.0, tracks=7))
    assert reading.polarity == tuple(signs)
    assert reading.azimuth.delay_us == pytest.approx(delays_us, abs=0.05)
    assert any("tracks 2, 5, 6 are reversed in polarity" in note for note in reading.notes)


def test_without_a_long_wave_no_polarity_is_told(tmp_path: Path) -> None:
    reading = read(tmp_path, made.tone(3.0, RATE_HZ, 10_000.0, delays_us=(0.0, 11.0)))
    assert reading.polarity == (0, 0)
    assert reading.azimuth.delay_us == pytest.approx((0.0, 11.0), abs=0.05)
