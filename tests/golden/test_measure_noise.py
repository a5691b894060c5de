"""Noise against closed forms, the burst tables of BS.468-4, and a general-purpose library."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from fluxbench.base import Validity
from fluxbench.measure import NoiseStream, QuasiPeak, noise
from fluxbench.trade import A_WEIGHTING_POLES_HZ, BS468_POLES_RAD_PER_S
from tests.reference import rows

Array = NDArray[np.float64]


def white(rate_hz: int, seconds: float, tracks: int = 2, seed: int = 1) -> NDArray[np.float32]:
    """-60 dBFS up to half the rate."""
    size = (round(rate_hz * seconds), tracks)
    unit = np.random.default_rng(seed).standard_normal(size, np.float32)
    return np.asarray(unit * np.float32(1e-3 / np.sqrt(2.0)))


def a_gain(frequency_hz: Array) -> Array:
    """The closed form of IEC 61672-1 Annex E, written out once more."""
    squared = frequency_hz**2
    poles = np.prod([np.sqrt(squared + pole**2) for pole in A_WEIGHTING_POLES_HZ], axis=0)
    return np.asarray(10 ** (1.99966 / 20) * 12_194.217148**2 * squared**2 / poles)


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_white_noise_in_band_and_a_weighted(rate_hz: int) -> None:
    at_hz = np.linspace(0.5, rate_hz / 2, 200_001)
    weighted_db = 10 * np.log10(np.mean(a_gain(at_hz) ** 2))
    reading = noise(white(rate_hz, 6.0), rate_hz)
    band_db = 10 * np.log10((20_000 - 20) / (rate_hz / 2))
    assert reading.unweighted_dbfs == pytest.approx(-60 + band_db, abs=0.1)
    assert reading.a_weighted_dbfs == pytest.approx(-60 + weighted_db, abs=0.1)
    assert reading.hum == ((), ())
    assert np.all(reading.a_weighted_standard_error_db < 0.1)


def test_a_second_opinion_on_a_weighting_and_the_network() -> None:
    """scipy.signal: pink noise through digital filters at 192 kHz made from the poles."""
    rate_hz = 192_000
    wave = white(rate_hz, 3.0, tracks=1)[:, 0].astype(np.float64)
    wave = signal.lfilter([1.0], [1.0, -0.99], wave)
    poles = [-2 * np.pi * pole for pole in A_WEIGHTING_POLES_HZ]
    reading = noise(wave[:, None], rate_hz)
    theirs_dbfs = {}
    for name, zeros, of_poles in (("a", 4, poles), ("468", 1, list(BS468_POLES_RAD_PER_S))):
        digital = signal.bilinear_zpk([0.0] * zeros, of_poles, 1.0, rate_hz)
        _, at_1_khz = signal.freqz_zpk(*digital, worN=[1000.0], fs=rate_hz)
        filtered = signal.sosfilt(signal.zpk2sos(*digital), wave) / np.abs(at_1_khz)
        theirs_dbfs[name] = 10 * np.log10(2 * np.mean(filtered**2))
    assert reading.a_weighted_dbfs[0] == pytest.approx(theirs_dbfs["a"], abs=0.1)
    # Quasi-peak reads Gaussian noise 4 to 5.5 dB above its rms (common practice, no source).
    assert 3.5 < reading.bs468_dbfs[0] - theirs_dbfs["468"] < 6.0


def test_a_steady_sine_reads_its_level_quasi_peak() -> None:
    """BS.468-4 clause 2.6, at 1 kHz; and the network's +12.2 dB at 6.3 kHz, Table 1."""
    time_s = np.arange(5 * 48_000) / 48_000
    both = np.stack([0.1 * np.sin(2 * np.pi * f * time_s) for f in (1000, 6300)], axis=1)
    reading = noise(both, 48_000)
    assert reading.bs468_dbfs == pytest.approx([-20.0, -20.0 + 12.2], abs=0.1)
    assert reading.bs468_highest_dbfs == pytest.approx([-20.0, -20.0 + 12.2], abs=0.15)


def test_every_burst_of_the_tables() -> None:
    """ITU-R BS.468-4 Tables 2 and 3: through the detector, side by side and in two blocks."""
    table, rate_hz = rows("itu468_bursts"), 48_000
    time_s = np.arange(round(2.5 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * 5000 * time_s)
    burst_s = [float(row["burst_ms"]) / 1000 for row in table]
    period_s = [1 / float(row["bursts_per_s"] or 0.01) for row in table]
    on = [time_s % p < b - 0.5 / rate_hz for b, p in zip(burst_s, period_s, strict=True)]
    waves = np.stack([*(tone * each for each in on), tone]).astype(np.float32)
    meter = QuasiPeak(rate_hz, len(waves))
    first = 30_011
    pointer = np.concatenate([meter.add(waves[:, :first]), meter.add(waves[:, first:])], axis=1)
    percent = 100 * pointer.max(axis=1)[:-1] / pointer[-1].max()
    for row, got in zip(table, percent, strict=True):
        assert float(row["lower_pct"]) < got < float(row["upper_pct"]), row
    assert pointer[-1].max() == pytest.approx(np.sqrt(0.5), rel=0.01)


def test_the_detector_is_its_steps_sample_after_sample() -> None:
    """As its description says, in float64: tracks that rise, fall, and stop, side by side."""
    rate_hz, frames = 48_000, round(1.6 * 48_000)
    rising, falling = np.linspace(1, 5, frames), np.geomspace(5, 1e-3, frames)
    stopping = 1.0 * (np.arange(frames) < frames / 2)
    wave = (white(rate_hz, 1.6, tracks=3) * np.stack([rising, falling, stopping], axis=1)).T
    charge, discharge = 1 - np.exp(-1 / rate_hz / np.array([1.4096e-3, 0.2932]))
    stage, points = np.zeros(3), []
    for count, size in enumerate(np.abs(wave.T), 1):
        stage += (size - stage) * np.where(size > stage, charge, discharge)
        if count % 32 == 0:
            points.append(stage.copy())
    smoothing = 1 - np.exp(-32 / rate_hz / 0.13999)
    expected = signal.lfilter([smoothing], [1, smoothing - 1], points, axis=0)
    got = QuasiPeak(rate_hz, 3).add(wave.astype(np.float32))
    np.testing.assert_allclose(got.T, expected / np.sqrt(2) / 0.98031, rtol=1e-6)


@pytest.mark.parametrize("tone_hz", [100.8, 101.0, 99.2])
@pytest.mark.parametrize("seconds", [12.0, 40.0])
def test_a_tone_of_the_tape_beside_the_mains_is_no_hum(tone_hz: float, seconds: float) -> None:
    """Tone alone, hum alone, both: the tone is off by its speed and stands 0.8 Hz or more away."""
    rate_hz = 8000
    wave = 0.1 * white(rate_hz, seconds, tracks=3, seed=5)
    time_s = np.arange(len(wave)) / rate_hz
    tone = 10 ** (-60 / 20) * np.sin(2 * np.pi * tone_hz * time_s)
    hum = 10 ** (-65 / 20) * np.sin(2 * np.pi * 100.0 * time_s)
    wave += np.stack([tone, hum, tone + hum], axis=1)
    reading = noise(wave, rate_hz)
    assert reading.hum[0] == ()
    for track in (1, 2):
        (line,) = reading.hum[track]
        assert line.frequency_hz == pytest.approx(100.0, abs=0.05)
        assert line.level_dbfs == pytest.approx(-65.0, abs=0.3)


def test_hum_is_found_and_none_invented() -> None:
    rate_hz, seconds = 48_000, 12.0
    wave = white(rate_hz, seconds, tracks=3, seed=7)
    time_s = np.arange(len(wave)) / rate_hz
    levels_dbfs = {50.02: -75.0, 100.04: -82.0, 150.06: -88.0}
    for frequency_hz, level_dbfs in levels_dbfs.items():
        wave[:, 1] += 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * time_s)
    wave[:, 2] += 10 ** (-80 / 20) * np.sin(2 * np.pi * 179.9 * time_s)
    reading = noise(wave, rate_hz)
    assert reading.hum[0] == ()
    assert [line.frequency_hz for line in reading.hum[1]] == pytest.approx(
        list(levels_dbfs), abs=0.15
    )
    assert [line.level_dbfs for line in reading.hum[1]] == pytest.approx(
        list(levels_dbfs.values()), abs=0.3
    )
    ((line,),) = (reading.hum[2],)
    assert line.frequency_hz == pytest.approx(179.9, abs=0.1)
    assert line.level_dbfs == pytest.approx(-80, abs=0.3)
    assert reading.without_hum_dbfs == pytest.approx(reading.unweighted_dbfs[0], abs=0.05)


def test_what_cannot_be_trusted() -> None:
    wave = white(48_000, 2.0, tracks=4)
    wave[1000, 1] = np.nan
    wave[:, 2] = 0.0
    wave[:, 3] += 0.05
    reading = noise(wave, 48_000)
    assert reading.validity == (
        Validity.OK, Validity.NOT_FINITE, Validity.NO_SIGNAL, Validity.DC
    )  # fmt: skip
    assert np.isfinite(reading.bs468_dbfs).tolist() == [True, False, False, False]
    assert noise(wave[:1000], 48_000).validity[0] is Validity.TOO_SHORT


def test_blocks_of_any_length_give_the_same() -> None:
    wave = white(8_000, 10.0)
    stream, first = NoiseStream(8_000, 2), 0
    for length in (1, 5_119, 5_120, 1_000, 70_000):
        stream.add(wave[first : first + length])
        first += length
    reading, whole = stream.reading(), noise(wave, 8_000)
    assert reading.unweighted_dbfs == pytest.approx(whole.unweighted_dbfs, abs=1e-9)
    assert reading.bs468_dbfs == pytest.approx(whole.bs468_dbfs, abs=1e-3)


def test_parts_measured_apart_are_the_whole() -> None:
    wave = white(8_000, 20.0)
    wave[:, 0] += 1e-3 * np.sin(2 * np.pi * 50 * np.arange(len(wave)) / 8_000)
    whole = noise(wave, 8_000)
    first, second = NoiseStream(8_000, 2), NoiseStream(8_000, 2)
    seam = 16 * first.hop_frames
    first.add(wave[: seam + first.overlap_frames])
    second.add(wave[seam:])
    first.end()
    second.end()
    first.also(second)
    reading = first.reading()
    assert reading.unweighted_dbfs == pytest.approx(whole.unweighted_dbfs, abs=0.01)
    assert reading.a_weighted_dbfs == pytest.approx(whole.a_weighted_dbfs, abs=0.01)
    assert reading.bs468_dbfs == pytest.approx(whole.bs468_dbfs, abs=0.1)
    assert [len(lines) for lines in reading.hum] == [1, 0]
    assert reading.validity == whole.validity
