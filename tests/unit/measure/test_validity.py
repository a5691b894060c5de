"""What cannot be trusted is told as a validity, with no number and no exception."""

import numpy as np
import pytest

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._harmonics import harmonics
from fluxbench.measure._response import multitone_levels
from fluxbench.measure._tone import ToneReading, tone_levels
from fluxbench.measure._validity import waveform_validity

RATE_HZ = 48_000
TIME_S = np.arange(2 * RATE_HZ) / RATE_HZ


def sine(frequency_hz: float = 1_000.0, amplitude: float = 0.1) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * frequency_hz * TIME_S + 0.2)


def reading(*tracks: np.ndarray, frequency_hz: float = 1_000.0) -> ToneReading:
    return tone_levels(np.stack(tracks, axis=1).astype(np.float32), RATE_HZ, frequency_hz)


def numbers(told: ToneReading, track: int) -> list[float]:
    return [
        told.level_dbfs[track],
        told.level_standard_error_db[track],
        told.level_spread_db[track],
        told.noise_dbfs[track],
        told.frequency_hz[track],
        told.frequency_standard_error_hz[track],
        told.phase_deg[track],
        told.phase_standard_error_deg[track],
    ]


def with_a_hole(value: float) -> np.ndarray:
    wave = sine()
    wave[500] = value
    return wave


SPOILT = {
    Validity.NO_SIGNAL: [
        np.zeros_like(TIME_S),
        1e-3 * np.random.default_rng(1).standard_normal(len(TIME_S)),
        sine(3_000.0),
        sine(amplitude=1e-7),
    ],
    Validity.NOT_FINITE: [with_a_hole(np.nan), with_a_hole(np.inf), with_a_hole(-np.inf)],
    Validity.CLIPPED: [
        np.clip(sine(amplitude=1.05), -1, 1),
        np.clip(sine(amplitude=3.0), -1, 32_767 / 32_768),
        np.clip(sine(amplitude=0.9) + 0.2, -1, 1),
    ],
    Validity.DC: [sine() + 0.02, np.full_like(TIME_S, 0.1)],
    Validity.UNSTABLE: [
        sine() * np.linspace(0.8, 1.2, len(TIME_S)),
        sine() * (TIME_S > 1.0),
        sine() * (1 + 0.4 * np.sin(2 * np.pi * TIME_S)),
    ],
}


@pytest.mark.parametrize(
    ("validity", "wave"), [(validity, wave) for validity, all_ in SPOILT.items() for wave in all_]
)
def test_a_spoilt_track_has_a_reason_and_no_number_and_harms_no_other(
    validity: Validity, wave: np.ndarray
) -> None:
    told = reading(sine(), wave, sine())
    assert told.validity == (Validity.OK, validity, Validity.OK)
    assert np.isnan(numbers(told, 1)).all()
    alone = reading(sine())
    for track in (0, 2):
        assert told.level_dbfs[track] == pytest.approx(alone.level_dbfs[0], abs=1e-3)
        assert np.isfinite(numbers(told, track)).all()


@pytest.mark.parametrize("frequency_hz", [40.0, 1_000.0, 10_000.0, 12_000.0])
def test_a_full_scale_sine_is_not_clipped(frequency_hz: float) -> None:
    told = reading(sine(frequency_hz, 1.0), frequency_hz=frequency_hz)
    assert told.validity == (Validity.OK,)
    assert told.level_dbfs[0] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("frequency_hz", [40.0, 1_000.0, 10_000.0])
def test_a_sine_a_decibel_over_is_clipped(frequency_hz: float) -> None:
    wave = np.clip(sine(frequency_hz, 10 ** (1 / 20)), -1, 1)
    assert reading(wave, frequency_hz=frequency_hz).validity == (Validity.CLIPPED,)


def test_small_noise_and_drift_are_lived_with() -> None:
    random = np.random.default_rng(2)
    noisy = sine(amplitude=0.01) + 1e-3 * random.standard_normal(len(TIME_S))
    offset = sine() + 0.003
    drifting = sine() * np.linspace(0.97, 1.03, len(TIME_S))
    assert reading(noisy, offset, drifting).validity == (Validity.OK,) * 3


@pytest.mark.parametrize("frames", [0, 1, 2, 100, 9_000])
def test_too_short_whatever_is_asked(frames: int) -> None:
    samples = np.stack([sine(), sine()], axis=1)[:frames]
    told = tone_levels(samples, RATE_HZ, 1_000.0)
    assert told.validity == (Validity.TOO_SHORT,) * 2
    assert told.reference_track is None
    assert np.isnan(told.level_dbfs).all()
    assert np.isnan(harmonics(samples, RATE_HZ, 1_000.0).percent).all()
    assert np.isnan(multitone_levels(samples, RATE_HZ, (100.0, 1_000.0)).level_dbfs).all()


def test_eight_periods_are_needed_of_a_low_tone() -> None:
    samples = sine(20.0)[:18_000, None]  # 0.375 s, 7.5 periods
    assert waveform_validity(samples, RATE_HZ, 20.0) == (Validity.TOO_SHORT,)
    assert waveform_validity(sine(20.0)[:19_300, None], RATE_HZ, 20.0) == (Validity.OK,)


def test_no_tracks_at_all() -> None:
    told = tone_levels(np.zeros((RATE_HZ, 0)), RATE_HZ, 1_000.0)
    assert told.validity == ()
    assert told.level_dbfs.shape == (0,)


@pytest.mark.parametrize("frequency_hz", [0.0, -1.0, 24_000.0, float("nan")])
def test_a_frequency_that_cannot_be(frequency_hz: float) -> None:
    with pytest.raises(MisuseError, match="cannot be measured at 48000 Hz"):
        tone_levels(np.zeros((RATE_HZ, 1)), RATE_HZ, frequency_hz)


def test_a_shape_or_rate_that_cannot_be() -> None:
    with pytest.raises(MisuseError, match="hand in"):
        tone_levels(np.zeros(RATE_HZ), RATE_HZ, 1_000.0)
    with pytest.raises(MisuseError, match="above zero"):
        tone_levels(np.zeros((RATE_HZ, 1)), 0, 1_000.0)


def test_a_weak_tone_has_a_level_but_no_frequency() -> None:
    # The band of 1 kHz is 40 Hz wide: a tone 3 dB above the noise in it.
    random = np.random.default_rng(3)
    amplitude = 1e-3
    sigma = np.sqrt(amplitude**2 / 2 / 2 / (40 / 24_000))
    told = reading(sine(amplitude=amplitude) + sigma * random.standard_normal(len(TIME_S)))
    assert told.level_dbfs[0] == pytest.approx(-60.0, abs=1.0)
    assert np.isnan(told.frequency_hz[0])


@pytest.mark.parametrize("tracks", [1, 3])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_the_samples_are_left_alone(tracks: int, dtype: type) -> None:
    samples = np.repeat(sine()[:, None], tracks, axis=1).astype(dtype)
    before = samples.copy()
    tone_levels(samples, RATE_HZ, 1_000.0)
    harmonics(samples, RATE_HZ, 1_000.0)
    multitone_levels(samples, RATE_HZ, (500.0, 1_000.0))
    assert np.array_equal(samples, before)
