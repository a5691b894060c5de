"""Corrected copies, against tables and closed forms, and measured again."""

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.captures.catalogue import Declared, Remedy
from fluxbench.captures.catalogue._corrections import Corrections
from fluxbench.captures.catalogue._facts import facts_of
from fluxbench.captures.catalogue._filters import (
    delay_taps,
    filtered,
    minimum_phase,
    resampled,
    resampled_frames,
)
from fluxbench.captures.catalogue._judge import judge
from fluxbench.captures.catalogue._remedy import correct
from fluxbench.captures.catalogue._row import Entry
from fluxbench.captures.catalogue._walk import Found
from fluxbench.trade import Equalisation
from tests.captures import faulty, made

F64 = NDArray[np.float64]

TABLE = Path(__file__).parents[2] / "reference" / "equalisation_response.csv"
RATE_HZ = 48_000


def flux_table() -> dict[tuple[str, str], dict[float, float]]:
    found: dict[tuple[str, str], dict[float, float]] = {}
    with TABLE.open(newline="") as file:
        for row in csv.DictReader(file):
            curve = found.setdefault((row["t1_us"], row["t2_us"]), {})
            curve[float(row["freq_hz"])] = float(row["flux_db_re_1khz"])
    return found


def equalisation(constants: tuple[str, str]) -> Equalisation:
    t1_us, t2_us = constants
    return Equalisation(None if t1_us == "inf" else float(t1_us), float(t2_us))


CURVES = [curve for curve in flux_table() if float(curve[1]) < 150.0]


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_the_filter_is_the_difference_of_the_table(rate_hz: int) -> None:
    """IEC 60094-1 clause 15 (`equalisation_response.csv`), 50 Hz to 16 kHz within 0.05 dB."""
    table = flux_table()
    for played, recorded in pairwise([*CURVES, CURVES[0]]):
        wrong = Corrections((0.0,), (1,), (0.0,), equalisation(played), equalisation(recorded))
        taps = minimum_phase(wrong, rate_hz)
        for hz, flux_db in table[played].items():
            if 50.0 <= hz <= 16_000.0:
                wave = np.exp(-2j * np.pi * hz / rate_hz * np.arange(len(taps)))
                made_db = 20.0 * np.log10(abs(wave @ taps))
                assert made_db == pytest.approx(flux_db - table[recorded][hz], abs=0.05)


@pytest.mark.parametrize("delay_frames", [170.0, 170.25, 170.5, 169.17, 182.9])
def test_a_delay_is_its_closed_form(delay_frames: float) -> None:
    """exp(-i w d), up to 0.42 of the rate: 20 kHz at 48."""
    taps = delay_taps(delay_frames, 170)
    for share in (0.001, 0.02, 0.2, 0.33, 0.42):
        turn = 2.0 * np.pi * share
        answer = np.exp(-1j * turn * np.arange(len(taps))) @ taps
        assert abs(answer - np.exp(-1j * turn * delay_frames)) < 1e-4


@pytest.mark.parametrize("sizes", [(5000,), (1, 999, 4000), (70_000, 3, 40_000)])
def test_blocks_make_no_difference(sizes: tuple[int, ...]) -> None:
    random = np.random.default_rng(1)
    wave = random.standard_normal((sum(sizes), 2)).astype(np.float32)
    rows = random.standard_normal((2, 300))
    blocks = np.split(wave, np.cumsum(sizes)[:-1])
    late = 77
    out = np.concatenate(list(filtered(blocks, rows, late)))
    for track in range(2):
        whole = np.convolve(wave[:, track].astype(np.float64), rows[track])
        assert out[:, track] == pytest.approx(whole[late : late + len(wave)], abs=1e-9)


@pytest.mark.parametrize("ratio", [0.98, 1.004, 1.013])
def test_a_resampled_sine_is_a_sine(ratio: float) -> None:
    """sin(2 pi f r n), away from both ends, up to 20 kHz at 48 kHz."""
    frames = 20_000
    for hz in (50.0, 3150.0, 16_000.0, 19_500.0):
        wave = np.sin(2.0 * np.pi * hz / RATE_HZ * np.arange(frames))[:, None]
        out = np.concatenate(list(resampled(np.split(wave, [700, 9000]), frames, ratio)))
        assert len(out) == resampled_frames(frames, ratio)
        expected = np.sin(2.0 * np.pi * hz / RATE_HZ * ratio * np.arange(len(out)))
        assert np.abs(out[200:-200, 0] - expected[200:-200]).max() < 2e-4


def reel_of(tones_hz: tuple[float, ...], speed: float = 1.0) -> F64:
    """Two tracks, all wrong: balance, delay, polarity, equalisation, as formulas."""
    parts = [
        made.tone(
            2.5, RATE_HZ, hz * speed,
            [level + faulty.read_db((None, 35.0), (3180.0, 50.0), hz) for level in (-16.0, -18.4)],
            delays_us=(0.0, 11.3),
        )
        for hz in tones_hz
    ]  # fmt: skip
    wave = np.concatenate(parts)
    wave[:, 1] *= -1.0
    return wave


@pytest.fixture
def declared() -> Declared:
    return Declared(15.0, Equalisation(3180.0, 50.0), -18.0, 3150.0)


def test_a_corrected_copy_measured_again_is_right(tmp_path: Path, declared: Declared) -> None:
    """Balance within 0.02 dB, azimuth within 0.2 us, equalisation within 0.05 dB."""
    tones_hz = (1000.0, 10_000.0, 100.0, 16_000.0, 50.0, 4000.0)
    path = made.written(tmp_path / "reel.wav", reel_of(tones_hz), RATE_HZ)
    original = path.read_bytes()
    judgement = judge(facts_of(str(path)), declared)
    entry = Entry(str(path), "reel", "0" * 64, {}, judgement)
    told = Remedy(tmp_path / "copies", (str(path),))(entry, Found(str(path), "reel", "reel.wav"))
    assert told.corrected == str(tmp_path / "copies" / "reel.wav")
    assert path.read_bytes() == original
    facts = facts_of(told.corrected)
    again = judge(facts, Declared(15.0, Equalisation(None, 35.0), -18.0, 3150.0))
    assert again.verdict == "good", again.remedy
    assert again.heard.reference is not None
    assert again.heard.reference.level_dbfs == pytest.approx([-18.0, -18.0], abs=0.02)
    assert abs(np.diff(again.heard.delay_us)[0]) < 0.2
    assert again.heard.polarity == (1, 1)
    assert {point.frequency_hz for point in again.heard.points} == {*tones_hz} - {1000.0}
    for point in again.heard.points:
        assert point.each_db == pytest.approx([0.0, 0.0], abs=0.05)
    (line,) = facts["capture"]["bext"]["coding_history"]
    assert line["A"] == "PCM"
    assert "equalisation 3180/50 to inf/35" in line["T"]
    assert "," not in line["T"]
    assert line["T"].isascii()


def test_a_reel_far_off_its_speed_is_known_by_its_speed_tone(
    tmp_path: Path, declared: Declared
) -> None:
    """6 % fast: no tone lies within 3 % of one that is printed."""
    path = made.written(tmp_path / "a.wav", reel_of((1000.0, 3150.0, 100.0), 1.06), RATE_HZ)
    judgement = judge(facts_of(str(path)), declared)
    assert "speed" in {fault.kind for fault in judgement.faults}
    assert judgement.corrections is not None
    assert judgement.corrections.speed_ratio == pytest.approx(1.06, abs=1e-5)


def test_what_is_no_fault_is_put_right_along_with_what_is(tmp_path: Path) -> None:
    """Track 2 reversed, 0.2 dB low and 3 us late: both within what a line-up accepts."""
    tones = [made.tone(2.5, RATE_HZ, hz, [-18.0, -18.2], delays_us=(0.0, 3.0)) for hz in (1e3, 1e4)]
    path = made.written(tmp_path / "a.wav", np.concatenate(tones) * [1.0, -1.0], RATE_HZ)
    judgement = judge(facts_of(str(path)), Declared())
    assert [fault.kind for fault in judgement.faults] == ["polarity"]
    assert judgement.corrections is not None
    assert judgement.corrections.gain_db == pytest.approx((-0.1, 0.1), abs=0.01)
    assert judgement.corrections.advance_us == pytest.approx((-1.5, 1.5), abs=0.1)


def test_speed_is_put_right_by_a_declared_tone(tmp_path: Path, declared: Declared) -> None:
    tones_hz = (1000.0, 10_000.0, 100.0, 3150.0)
    path = made.written(tmp_path / "reel.wav", reel_of(tones_hz, 1.011), RATE_HZ)
    corrections = judge(facts_of(str(path)), declared).corrections
    assert corrections is not None
    assert corrections.speed_ratio == pytest.approx(1.011, abs=1e-5)
    correct(str(path), tmp_path / "copy.wav", corrections)
    heard = judge(facts_of(str(tmp_path / "copy.wav")), declared).heard
    assert abs(heard.speed_offset_percent) < 0.002
    for point in heard.points:
        # The formula's tones were equalised as if at the right speed; 1.1 % shifts it by so much.
        assert point.each_db == pytest.approx([0.0, 0.0], abs=0.15)


def test_what_does_not_fit_is_lowered_and_says_so(tmp_path: Path) -> None:
    wave = made.tone(2.5, RATE_HZ, 1000.0, [-1.0, -1.0], delays_us=(0.0, 0.0))
    path = made.written(tmp_path / "loud.wav", wave, RATE_HZ)
    correct(str(path), tmp_path / "copy.wav", Corrections((6.0, 6.0), (1, 1), (0.0, 0.0)))
    facts = facts_of(str(tmp_path / "copy.wav"))
    assert facts["peak_dbfs"] == pytest.approx([-0.1, -0.1], abs=0.01)
    assert "all tracks -5.10 dB to fit" in facts["capture"]["bext"]["coding_history"][0]["T"]


def test_originals_are_never_written_over(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="holds the originals"):
        Remedy(tmp_path, (str(tmp_path),))
