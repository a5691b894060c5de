"""Flutter on exact sines of a warped time, and every pulse of the dynamic table."""

import re
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from fluxbench.base import Validity
from fluxbench.captures import line_of, read_capture
from fluxbench.measure import RotatingPart, ToneStream, flutter_of, take_tone
from fluxbench.measure._flutter_detector import pointer_percent
from tests.captures import made
from tests.reference import rows

RATE_HZ = 16_000
SIZE = 1e-3


def warped(frequency_hz: float, flutter_hz: float, seconds: float) -> NDArray[np.float32]:
    """A tone whose speed swings by 0.1 % as an exact sine."""
    time_s = np.arange(round(RATE_HZ * seconds)) / RATE_HZ
    swing = SIZE / (2 * np.pi * flutter_hz) * np.sin(2 * np.pi * flutter_hz * time_s + 0.7)
    wave = 0.1 * np.sin(2 * np.pi * frequency_hz * (time_s + swing))
    return np.asarray(wave[:, None], np.float32)


def weight(frequency_hz: float) -> float:
    """Table I of IEC 60386, straight over log frequency between its rows."""
    table = [(float(row["freq_hz"]), float(row["weight_db"])) for row in rows("flutter_weighting")]
    at_hz, weight_db = np.array(table).T
    return float(10 ** (np.interp(np.log(frequency_hz), np.log(at_hz), weight_db) / 20))


def two_sigma_of_a_sine() -> float:
    """Of its peak: what it is beyond for 5 % of the time, sin(0.95 x 90 degrees)."""
    (row,) = (row for row in rows("flutter_methods") if row["method"] == "sine relation")
    (told,) = re.findall(r"of a sine = ([\d.]+) x peak", ",".join(row.values()))
    assert float(told) == pytest.approx(np.sin(0.95 * np.pi / 2), abs=1e-4)
    return float(told)


def test_speed_tones_are_those_of_the_methods(tmp_path: Path) -> None:
    """Every test frequency of flutter_methods.csv has flutter told of it, from 5 s on."""
    asked_hz = {float(row["test_hz"]) for row in rows("flutter_methods") if row["test_hz"]}
    assert asked_hz == {3000.0, 3150.0}
    for tone_hz in asked_hz:
        wave = warped(tone_hz, 4.0, 5.3)
        path = made.written(tmp_path / "tone.wav", wave, RATE_HZ)
        (section,) = line_of(read_capture(str(path)))["sections"]
        assert section["flutter"]["weighted_2sigma_percent"] == pytest.approx(
            two_sigma_of_a_sine() * 0.1, rel=0.03
        )


@pytest.mark.parametrize("flutter_hz", [0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0])
def test_sines(flutter_hz: float) -> None:
    """Quasi-peak within 4 %, 2 sigma (part of the peak by flutter_methods.csv) within 2 %."""
    nominal_hz = 3000.0 if flutter_hz == 10.0 else 3150.0
    take = take_tone(warped(nominal_hz, flutter_hz, 10.0), RATE_HZ, nominal_hz, with_flutter=True)
    assert take.flutter is not None
    peak_percent = 100 * SIZE * weight(flutter_hz)
    assert take.flutter.weighted_quasi_peak_percent[0] == pytest.approx(peak_percent, rel=0.04)
    sigma_percent = two_sigma_of_a_sine() * peak_percent
    assert take.flutter.weighted_2_sigma_percent[0] == pytest.approx(sigma_percent, rel=0.02)
    assert take.flutter.unweighted_percent[0] == pytest.approx(0.1, rel=0.08)
    assert take.flutter.components[0].frequency_hz == pytest.approx(flutter_hz, abs=0.02)
    assert take.flutter.components[0].peak_percent == pytest.approx(0.1, rel=0.02)


def test_five_seconds_are_enough() -> None:
    take = take_tone(warped(3150.0, 4.0, 5.0), RATE_HZ, 3150.0, with_flutter=True)
    assert take.flutter is not None
    assert take.flutter.weighted_quasi_peak_percent[0] == pytest.approx(0.1, rel=0.04)
    short = take_tone(warped(3150.0, 4.0, 4.0), RATE_HZ, 3150.0, with_flutter=True)
    assert short.flutter is not None
    assert short.flutter.validity == (Validity.TOO_SHORT,)
    assert np.isnan(short.flutter.weighted_2_sigma_percent[0])


def test_every_pulse_of_the_dynamic_table() -> None:
    """IEC 60386: pulses of the peak to peak of a 4 Hz sine, one a second, weighting included."""
    rate_hz = 1000.0
    time_s = np.arange(16_000) / rate_hz
    table = rows("flutter_bursts")
    pulses = [row for row in table if "decay" not in row["pulse_ms"]]
    waves = [
        np.where(time_s % 1.0 < float(row["pulse_ms"]) / 1000 - 1e-9, 0.2, 0.0) for row in pulses
    ]
    sine = 0.1 * np.sin(2 * np.pi * 4 * time_s)
    reading = flutter_of(np.stack([*waves, sine]), rate_hz)
    percent = (
        100 * reading.weighted_quasi_peak_percent[:-1] / reading.weighted_quasi_peak_percent[-1]
    )
    for row, got in zip(pulses, percent, strict=True):
        assert abs(got - float(row["reading_pct"])) < float(row["tol_pct"]), row
    (fall,) = (row for row in table if "decay" in row["pulse_ms"])
    weighted = signal.resample(waves[-1], len(time_s))  # as it is: the flat top needs no weighting
    pointer = pointer_percent(weighted[None, :].astype(np.float32), rate_hz)[0, 6_000:15_000]
    lowest = 100 * pointer.min() / pointer.max()
    assert abs(lowest - float(fall["reading_pct"])) < float(fall["tol_pct"])


def test_turning_parts_are_matched_and_others_told() -> None:
    """A capstan at 12.1 turns a second; a reel, expected at half a turn, that is not there."""
    time_s = np.arange(round(RATE_HZ * 12.0)) / RATE_HZ
    swing = 2e-4 / (2 * np.pi * 12.1) * np.sin(2 * np.pi * 12.1 * time_s)
    swing += 1e-4 / (2 * np.pi * 2.0) * np.sin(2 * np.pi * 2.0 * time_s)
    noise = 1e-5 * np.random.default_rng(1).standard_normal((len(time_s), 1))
    wave = 0.1 * np.sin(2 * np.pi * 3150 * (time_s + swing))[:, None] + noise
    parts = [RotatingPart("capstan", 12.2), RotatingPart("reel", 0.5)]
    reading = take_tone(wave, RATE_HZ, 3150.0, with_flutter=True, parts=parts).flutter
    assert reading is not None
    capstan, reel = reading.parts
    assert capstan.found_hz == pytest.approx(12.1, abs=0.02)
    assert capstan.peak_percent == pytest.approx(0.02, rel=0.05)
    assert np.isnan(reel.found_hz)
    assert [c.part for c in reading.components[:2]] == ["capstan", ""]


def test_an_hour_is_worked_out_in_pieces() -> None:
    """Here 80 s: two pieces and more, read like one."""
    wave = warped(3150.0, 4.0, 80.0)
    stream = ToneStream(RATE_HZ, 1, 3150.0, with_flutter=True)
    for first in range(0, len(wave), 100_000):
        stream.add(wave[first : first + 100_000])
    take = stream.reading()
    assert take.flutter is not None
    assert take.flutter.duration_s > 79.5
    assert take.flutter.weighted_2_sigma_percent[0] == pytest.approx(0.09969, rel=0.02)
    assert take.tone.level_dbfs[0] == pytest.approx(-20.0, abs=0.01)
    assert take.tone.frequency_hz[0] == pytest.approx(3150.0, rel=2e-5)
    assert np.median(np.diff(take.along_s)) == pytest.approx(1.0, abs=0.01)
    assert np.diff(take.along_s).max() < 2.0
