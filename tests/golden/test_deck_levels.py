"""Distortion, noise, contour and responses of the practice deck, from samples."""

import numpy as np
import pytest
import scipy.fft
import scipy.signal

from fluxbench.deck import PracticeDeck
from fluxbench.deck._lowend import contour_sections
from fluxbench.trade import high_trim_coupling, standard_for
from tests.unit.deck.rig import Rig, levels_db

RE_320_DB = 20.0 * np.log10(355.0 / 320.0)


def third_harmonic_percent(rig: Rig, level_db: float) -> tuple[float, float]:
    """Level re 320 nWb/m and third harmonic of 1 kHz at the output, averaged over tracks."""
    rig.send(0.4, [(1000.0, level_db)])
    back = rig.send(1.2, [(1000.0, level_db)])
    first, third = levels_db(back, 1000.0).mean(), levels_db(back, 3000.0).mean()
    return float(first + RE_320_DB), float(100.0 * 10.0 ** ((third - first) / 20.0))


def test_distortion_is_that_of_the_study() -> None:
    """Section 2 of the study (fitted, not published): h3 at 320 nWb/m 0.53 %, seen at the output
    0.40 % since 3 kHz is recorded less well; output +7.2 dB has 2.3 %; at 3 % before that loss
    +7.1 dB."""
    rig = Rig(tracks=4)
    rig.record(0.8)
    level_db, percent = third_harmonic_percent(rig, -RE_320_DB)
    assert level_db == pytest.approx(0.0, abs=0.1)
    assert percent == pytest.approx(0.40, abs=0.04)
    sent_db = np.arange(5.5, 8.0, 0.5)
    read = np.array([third_harmonic_percent(rig, level) for level in sent_db])
    assert np.interp(7.2, read[:, 0], read[:, 1]) == pytest.approx(2.3, abs=0.1)
    before_loss = read[:, 1] * 0.53 / 0.40
    assert np.interp(3.0, before_loss, read[:, 0]) == pytest.approx(7.1, abs=0.3)


@pytest.mark.parametrize(("tracks", "low_db", "high_db"), [(24, -61.0, -57.0), (8, -64.0, -60.0)])
def test_bias_noise(tracks: int, low_db: float, high_db: float) -> None:
    """Section 3: −57 to −61 dB(A) re 320 nWb/m on 1 mm, −60 to −64 on about 2 mm, 15 ips (from
    memory). A-weighting as numbers at frequencies, IEC 61672-1 table 3, not by the deck's formula.
    """
    rig = Rig(tracks=tracks)
    rig.record(0.8)
    back = rig.send(2.0)
    at_hz = np.array([63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000], float)
    weight_db = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1, -6.6]
    power = np.abs(scipy.fft.rfft(back, axis=0)) ** 2
    bins_hz = scipy.fft.rfftfreq(len(back), 1.0 / 48_000.0)
    gain = 10.0 ** (np.interp(np.log(np.maximum(bins_hz, 20.0)), np.log(at_hz), weight_db) / 10.0)
    gain[(bins_hz < 20.0) | (bins_hz > 20_000.0)] = 0.0
    rms = np.sqrt(2.0 * (power * gain[:, np.newaxis]).sum(axis=0)) / len(back)
    noise_db = 20.0 * np.log10(rms * np.sqrt(2.0)) + 16.0 + RE_320_DB
    assert np.all((noise_db > low_db) & (noise_db < high_db)), noise_db


@pytest.mark.parametrize(("speed_ips", "top_hz"), [(7.5, 32.5), (15.0, 65.0), (30.0, 130.0)])
def test_the_bump_moves_with_speed(speed_ips: float, top_hz: float) -> None:
    """First top of the study's contour at a wavelength of 2.19 L, here 5.87 mm, +2.2 dB."""
    at_hz = np.geomspace(15.0, 300.0, 3000)
    sections = contour_sections(48_000, speed_ips, 2.68)
    gain_db = 20.0 * np.log10(np.abs(scipy.signal.freqz_sos(sections, at_hz, fs=48_000)[1]))
    assert at_hz[np.argmax(gain_db)] == pytest.approx(top_hz, rel=0.02)
    assert gain_db.max() == pytest.approx(2.2, abs=0.2)


def test_the_low_end_from_samples() -> None:
    rig = Rig(tracks=1)
    tones = [(hz, -20.0) for hz in (40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 1000.0)]
    read = []
    rig.record(0.6)
    for hz, level_db in tones:
        rig.send(0.3, [(hz, level_db)])
        back = rig.send(2.0, [(hz, level_db)])[:, 0].astype(float)
        time_s = np.arange(len(back)) / 48_000.0
        size = 2.0 * np.abs(np.mean(back * np.exp(-2j * np.pi * hz * time_s)))
        read.append(20.0 * np.log10(size))
    assert np.mean(read[:-1]) - read[-1] == pytest.approx(0.0, abs=0.1)


def test_ideal_settings_are_flat_to_16_khz_and_20_khz_reads() -> None:
    """Common practice, no source: near 0 up to 16 kHz after a line-up, 20 kHz still readable."""
    rig = Rig(tracks=4)
    rig.record(0.8)
    read = {}
    for hz in (500.0, 1000.0, 4000.0, 10_000.0, 16_000.0, 20_000.0):
        rig.send(0.3, [(hz, -20.0)])
        read[hz] = levels_db(rig.send(1.6, [(hz, -20.0)]), hz).mean()
    for hz in (500.0, 4000.0, 10_000.0, 16_000.0):
        assert read[hz] - read[1000.0] == pytest.approx(0.0, abs=0.5)
    assert -3.0 < read[20_000.0] - read[1000.0] < 0.0


def test_the_bottom_is_hot_below_100_hz_with_its_top_near_65_hz() -> None:
    """Common practice, no source: at 15 ips on a 2-inch deck, from its own recording.

    A lined-up low end turns the bump down until its mean equals 1 kHz: it gets flat on top, and
    65 Hz lies within 0.3 dB of the highest.
    """
    rig = Rig(tracks=1)
    lined_up = _long_waves_db(rig)
    rig.deck._works.banks["reproduce_low"].set_values(np.zeros(1))
    rig.deck._works.adjust_all()
    untrimmed = _long_waves_db(rig)
    assert max(untrimmed, key=lambda hz: untrimmed[hz]) in (57.0, 65.0, 73.0)
    assert 1.5 < untrimmed[65.0] < 3.0
    assert lined_up[65.0] > max(lined_up.values()) - 0.3
    assert all(lined_up[hz] > 0.2 for hz in (57.0, 65.0, 73.0, 85.0))
    assert lined_up[160.0] < 0.0


def _long_waves_db(rig: Rig) -> dict[float, float]:
    """Levels of long waves re 1 kHz, own recording."""
    read = {}
    rig.record(0.6)
    for hz in (40.0, 57.0, 65.0, 73.0, 85.0, 100.0, 160.0, 1000.0):
        rig.send(0.3, [(hz, -20.0)])
        back = rig.send(1.0, [(hz, -20.0)])[:, 0].astype(float)
        time_s = np.arange(len(back)) / 48_000.0
        wave = np.sum(np.hanning(len(back)) * back * np.exp(-2j * np.pi * hz * time_s))
        read[hz] = float(20.0 * np.log10(np.abs(wave)))
    return {hz: level - read[1000.0] for hz, level in read.items()}


@pytest.mark.parametrize("speed_ips", [7.5, 15.0, 30.0])
def test_high_trimmer_moves_1_khz_as_its_time_constant_does(speed_ips: float) -> None:
    """Closed form of IEC 60094-1 clause 15: `trade.high_trim_coupling`."""
    rig = Rig(tracks=2, speed_ips=speed_ips)
    tones = [(1000.0, -20.0), (10_000.0, -20.0)]
    rig.record(0.8, tones)
    before = rig.send(3.0, tones)
    bank = rig.deck._works.banks["reproduce_high"]
    bank.set_values(bank.values + 1.0)
    rig.deck._works.adjust_all()
    rig.send(0.2, tones)
    after = rig.send(3.0, tones)
    low_db = levels_db(after, 1000.0) - levels_db(before, 1000.0)
    high_db = levels_db(after, 10_000.0) - levels_db(before, 10_000.0)
    assert high_db == pytest.approx([1.0, 1.0], abs=0.15)
    expected = high_trim_coupling(standard_for(speed_ips), 10_000.0)
    assert low_db / high_db == pytest.approx(float(expected), abs=0.03)


@pytest.mark.parametrize("speed_ips", [7.5, 15.0])
def test_truth_agrees_with_the_samples_as_found(speed_ips: float) -> None:
    rig = Rig(right=False, tracks=4, speed_ips=speed_ips, seed=7)
    residual = rig.deck.truth()["residual"]
    sections = rig.deck.state()["data_sheet"]["sections"]
    deck_tape_db = 20.0 * np.log10(250.0 / 355.0)
    for number, key in ((0, "reproduce_level_db"), (2, "reproduce_high_db")):
        hz, level_db = sections[number]["frequency_hz"], sections[number]["level_db"]
        rig.play_section(number)
        read = levels_db(rig.send(3.0), hz) - level_db - deck_tape_db
        if hz == 1000.0:
            read -= fringing_db(rig.deck)
        assert read == pytest.approx(residual[key], abs=0.12)
    for number, key in ((0, "sync_level_db"), (2, "sync_high_db")):
        hz, level_db = sections[number]["frequency_hz"], sections[number]["level_db"]
        rig.play_section(number, "sync")
        read = levels_db(rig.send(3.0), hz) - level_db - deck_tape_db
        if hz == 1000.0:
            read -= fringing_db(rig.deck)
        assert read == pytest.approx(residual[key], abs=0.12)
    rig.record(0.8)
    rig.send(0.4, [(1000.0, 0.0)])
    own = levels_db(rig.send(1.0, [(1000.0, 0.0)]), 1000.0) - residual["reproduce_level_db"]
    assert own == pytest.approx(residual["record_level_db"], abs=0.1)
    rig.send(0.4, [(10_000.0, -20.0)])
    own = levels_db(rig.send(3.0, [(10_000.0, -20.0)]), 10_000.0) + 20.0
    own -= residual["reproduce_high_db"]
    assert own == pytest.approx(residual["record_high_db"], abs=0.12)


def fringing_db(deck: PracticeDeck) -> float:
    """Section 1, half-plane core: 1 + 1/(k w) where both sides are wide, k = 2 pi f / v."""
    k_per_mm = 2.0 * np.pi * 1000.0 / (25.4 * deck.state()["speed_ips"])
    return float(20.0 * np.log10(1.0 + 1.0 / (k_per_mm * deck.state()["track_width_mm"])))
