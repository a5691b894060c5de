"""A tone in one pass: drop-outs of known place, and sweeps and steps against the multitone."""

import numpy as np
import pytest
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure import (
    ToneStream,
    low_end,
    multitone_levels,
    stepped_levels,
    sweep_levels,
    take_tone,
    tone_of,
)
from fluxbench.trade import NOMINAL_HZ
from tests.captures import made

RATE_HZ = 16_000


def test_drop_outs_are_all_found_and_none_invented() -> None:
    """5 ms and 4 dB or more, of raised-cosine edges 1 ms long; the second track has none."""
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    wave = 0.1 * np.sin(2 * np.pi * 3000 * time_s)
    planted = [(1.0, 5.0, 4.0), (2.2, 5.0, 12.0), (3.3, 20.0, 6.0), (5.0, 10.0, 20.0)]
    gain = np.ones_like(wave)
    for start_s, length_ms, depth_db in planted:
        away_s = np.abs(time_s - start_s - length_ms / 2000) - length_ms / 2000
        share = 0.5 - 0.5 * np.cos(np.pi * np.clip(0.5 - away_s / 1e-3, 0, 1))
        gain *= 10 ** (-depth_db * share / 20)
    noise = 1e-4 * np.random.default_rng(1).standard_normal((len(wave), 2))
    take = take_tone(np.stack([wave * gain, wave], axis=1) + noise, RATE_HZ, 3000.0)
    found, none = take.drop_outs
    assert none == ()
    assert [d.start_s for d in found] == pytest.approx([p[0] for p in planted], abs=0.002)
    assert [d.length_ms for d in found] == pytest.approx([p[1] for p in planted], abs=1.5)
    # Edges of 1 ms leave 4 of 5 ms at full depth; the window of the detector is 5 ms long.
    assert [d.depth_db for d in found] == pytest.approx([p[2] for p in planted], rel=0.1)


@pytest.mark.parametrize("depth_db", [4.0, 6.0, 10.0, 15.0, 20.0, 30.0])
def test_drop_outs_with_square_edges_are_as_deep_as_they_are(depth_db: float) -> None:
    """Closed form: a gain of 10^(-depth/20) for 5 to 100 ms, and one for nothing in between.

    What is steeper than 2.5 ms is smeared, and the half depth in dB of a deep one lies low on the
    slope: 1 ms at either edge for 30 dB (the raised cosine's integral at a / (1 + a), where a is
    the gain at half the depth).
    """
    lengths_ms, rate_hz = (5.0, 10.0, 30.0, 100.0), 48_000
    time_s = np.arange(4 * rate_hz) / rate_hz
    wave = 0.1 * np.sin(2 * np.pi * 1000 * time_s)
    for place_s, length_ms in enumerate(lengths_ms):
        inside = (time_s >= 0.4 + place_s) & (time_s < 0.4 + place_s + length_ms / 1000)
        wave[inside] *= 10 ** (-depth_db / 20)
    wave += 1e-6 * np.random.default_rng(4).standard_normal(len(wave))
    (found,) = take_tone(wave[:, None], rate_hz, 1000.0).drop_outs
    assert [d.depth_db for d in found] == pytest.approx([depth_db] * 4, rel=0.05)
    assert [d.length_ms for d in found] == pytest.approx(lengths_ms, abs=2.5)
    assert [d.start_s for d in found] == pytest.approx([0.4, 1.4, 2.4, 3.4], abs=2e-3)


@pytest.mark.parametrize("away_s", [-0.05, -0.003, 0.0, 0.003, 0.05])
def test_parts_of_a_take_measured_apart_are_the_take(away_s: float) -> None:
    """A drop-out of 20 ms over the seam is told once, and as it is."""
    time_s = np.arange(12 * RATE_HZ) / RATE_HZ
    wave = 0.1 * np.sin(2 * np.pi * 3000 * time_s)
    like = ToneStream(RATE_HZ, 1, 3000.0)
    seam = 8 * like.hop_frames
    at_s = (seam + like.hop_frames / 16) / RATE_HZ + away_s - 0.01
    wave[(time_s >= at_s) & (time_s < at_s + 0.02)] *= 0.1
    wave += 1e-5 * np.random.default_rng(5).standard_normal(len(wave))
    first, second = like, ToneStream(RATE_HZ, 1, 3000.0, first_s=seam / RATE_HZ)
    first.add(wave[: seam + like.block_frames, None])
    second.add(wave[seam:, None])
    apart = tone_of([first.part(goes_on=True), second.part()])
    whole = take_tone(wave[:, None], RATE_HZ, 3000.0)
    ((found,),) = apart.drop_outs
    assert found.start_s == pytest.approx(at_s, abs=2e-3)
    assert (found.length_ms, found.depth_db) == pytest.approx((20.0, 20.0), abs=2.5)
    assert apart.tone.duration_s == pytest.approx(whole.tone.duration_s, abs=1e-6)
    assert apart.tone.level_dbfs == pytest.approx(whole.tone.level_dbfs, abs=0.01)
    assert apart.tone.frequency_hz == pytest.approx(whole.tone.frequency_hz, rel=1e-6)
    assert apart.tone.validity == whole.tone.validity == (Validity.OK,)


def test_a_weak_tone_in_noise_has_no_drop_outs() -> None:
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    noise = 1e-2 * np.random.default_rng(2).standard_normal(len(time_s))
    wave = 0.02 * np.sin(2 * np.pi * 1000 * time_s) + noise
    assert take_tone(wave[:, None], RATE_HZ, 1000.0).drop_outs == ((),)


def test_unfit_tracks_do_not_harm_the_others() -> None:
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    sine = 0.1 * np.sin(2 * np.pi * 1000 * time_s)
    waves = np.stack([sine, sine, np.clip(30 * sine, -1, 1), 0 * sine, sine + 0.05], axis=1)
    waves[RATE_HZ, 1] = np.inf
    take = take_tone(waves.astype(np.float32), RATE_HZ, 1000.0)
    assert take.tone.validity == (
        Validity.OK, Validity.NOT_FINITE, Validity.CLIPPED, Validity.NO_SIGNAL, Validity.DC
    )  # fmt: skip
    assert take.tone.level_dbfs[0] == pytest.approx(-20.0, abs=0.01)
    assert np.isnan(take.tone.level_dbfs[1:]).all()


def test_sweep_and_steps_agree_with_the_multitone() -> None:
    """One filter, three ways: its own closed form within 0.1 dB."""
    points = [50.0, 100.0, 205.0, 1005.0, 3155.0, 6305.0]
    bend_hz = 2000.0

    def gain(frequency_hz: np.ndarray) -> np.ndarray:
        return 1 / np.sqrt(1 + (frequency_hz / bend_hz) ** 2)

    expected = -30 + 20 * np.log10(gain(np.array(points)))
    size = 10 ** (-30 / 20)
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    together = sum(size * gain(np.array(f)) * np.sin(2 * np.pi * f * time_s + f) for f in points)
    pieces = [size * gain(np.array(f)) * np.sin(2 * np.pi * f * time_s[:RATE_HZ]) for f in points]
    grow = np.log(7800 / 25) / 8.0
    long_s = np.arange(8 * RATE_HZ) / RATE_HZ
    now_hz = 25 * np.exp(grow * long_s)
    swept = size * gain(now_hz) * np.sin(2 * np.pi * 25 * np.expm1(grow * long_s) / grow)
    noise = 1e-5 * np.random.default_rng(3).standard_normal(len(long_s))
    by_sweep = sweep_levels((swept + noise)[:, None], RATE_HZ, points)
    by_steps = stepped_levels(np.concatenate(pieces)[:, None], RATE_HZ, points)
    at_once = multitone_levels(together[:, None], RATE_HZ, points)
    for reading in (by_sweep, by_steps, at_once):
        assert reading.level_dbfs[:, 0] == pytest.approx(expected, abs=0.1)
    assert np.all(by_sweep.standard_error_db < 0.1)
    beyond = sweep_levels((swept + noise)[:, None], RATE_HZ, [10.0, 7990.0])
    assert {v[0] for v in beyond.validity} <= {Validity.NO_SIGNAL, Validity.TOO_SHORT}
    assert sweep_levels(noise[:, None], RATE_HZ, [100.0]).validity[0][0] is Validity.UNSTABLE


def test_bump_and_dip() -> None:
    """A resonance of +2 dB at 55 Hz and one of -1 dB at 130 Hz, in third octaves."""
    points = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000]
    at_hz = np.array(points, np.float64)
    octaves = np.log2(at_hz)
    level = 2 * np.exp(-(((octaves - np.log2(55)) / 0.4) ** 2))
    level -= np.exp(-(((octaves - np.log2(130)) / 0.4) ** 2))
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    wave = sum(
        0.01 * 10 ** (db / 20) * np.sin(2 * np.pi * f * time_s + f**2)
        for f, db in zip(points, level, strict=True)
    )
    (reading,) = low_end(multitone_levels(wave[:, None], RATE_HZ, points))
    assert reading.bump_hz == pytest.approx(55, rel=0.05)
    assert reading.bump_db == pytest.approx(2.0, abs=0.2)
    assert reading.dip_hz == pytest.approx(130, rel=0.05)
    assert reading.dip_db == pytest.approx(-1.0, abs=0.1)
    # The areas of the two bells over the octaves from 30 to 300 Hz: (2 - 1) 0.4 sqrt(pi) / 3.32.
    assert reading.mean_db == pytest.approx(0.4 * np.sqrt(np.pi) / np.log2(10), abs=0.03)


@pytest.mark.parametrize("sway_db", [0.0, 0.2])
def test_a_sweep_states_how_its_level_sways(sway_db: float) -> None:
    """Truth is the gain that was put in: white noise from 0.5 to 10 Hz, as poor contact gives.

    Of 27 points 95 % lie within two errors (a normal law), and the errors are not twice too large;
    without any sway the error is what is stated at the least, 0.002 dB.
    """
    rng, rate_hz, seconds = np.random.default_rng(12), 24_000, 20.0
    wave = made.sweep(seconds, rate_hz, 20.0, 11_000.0, -20.0)[:, 0]
    lines = fft.rfft(rng.standard_normal(2000))
    lines[:10] = lines[201:] = 0.0
    sway = fft.irfft(lines)
    time_s = np.arange(len(wave)) / rate_hz
    wave *= 10 ** (sway_db / 20 * np.interp(time_s, np.arange(2000) / 100, sway / sway.std()))
    wave += made.noise(seconds, rate_hz, -75.0)[:, 0]
    points = [f for f in NOMINAL_HZ if 25.0 <= f <= 10_000.0]
    reading = sweep_levels(wave[:, None], rate_hz, points)
    off = np.abs(reading.level_dbfs[:, 0] + 20.0)
    error = reading.standard_error_db[:, 0]
    assert np.mean(off < 2.0 * error) >= 0.9
    assert np.sqrt(np.mean(error**2)) < max(2.0 * np.sqrt(np.mean(off**2)), 0.003)
