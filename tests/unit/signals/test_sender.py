"""What goes out: exact levels and phases, no click at a change, errors before any sample."""

import numpy as np
import pytest
from scipy import fft
from scipy.signal import windows

from fluxbench.base import MisuseError, SignalError
from fluxbench.signals import (
    Multitone,
    PerTrack,
    Sender,
    Silence,
    Sweep,
    Tone,
    Tones,
    crest_optimised_multitone,
)
from fluxbench.signals._voices import voice_of

RATE_HZ = 48_000
RAMP_FRAMES = 2_400


def settled(sender: Sender, frames: int) -> np.ndarray:
    """Samples of the first track after the fade, as float64."""
    sender.block(RAMP_FRAMES)
    return sender.block(frames)[:, 0].astype(np.float64)


@pytest.mark.parametrize("level_dbfs", [0.0, -20.0, -33.3])
def test_a_tone_is_the_sine_of_its_description(level_dbfs: float) -> None:
    # Closed form: a full-scale sine is 0 dBFS, so -20 dBFS has a peak of 0.1.
    sender = Sender(RATE_HZ, 3)
    sender.send(Tone(997.0, level_dbfs))
    got = settled(sender, RATE_HZ)
    frame = np.arange(RAMP_FRAMES, RAMP_FRAMES + RATE_HZ)
    expected = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 997.0 * frame / RATE_HZ)
    assert np.max(np.abs(got - expected)) < 1e-7
    assert sender.sent_frames == RAMP_FRAMES + RATE_HZ


def test_the_phase_is_exact_after_ten_hours() -> None:
    # 1000.5 Hz repeats every 2 s, so ten hours later the very same samples are due.
    voice = voice_of(Tone(1000.5, 0.0), 96_000, 0, 0.05)
    now, later = (voice.render(frame, 2_000) for frame in (0, 10 * 3600 * 96_000))
    assert np.array_equal(now, later)


def test_an_odd_frequency_keeps_its_phase_in_extended_precision() -> None:
    # Outside reference: the 64-bit mantissa of numpy's long double.
    first, frequency_hz = 5 * 3600 * 96_000 + 7, 10_007.3
    got = voice_of(Tone(frequency_hz, 0.0), 96_000, 0, 0.05).render(first, 4_800)
    frame = np.arange(first, first + 4_800, dtype=np.longdouble)
    turns = np.longdouble(frequency_hz) * frame / np.longdouble(96_000)
    expected = np.sin(2 * np.pi * (turns % 1).astype(np.float64))
    assert np.finfo(np.longdouble).nmant >= 63
    assert np.max(np.abs(got - expected)) < 1e-8


def test_all_tracks_carry_the_same_and_float32() -> None:
    sender = Sender(RATE_HZ, 24)
    sender.send(Tones((Tone(10_000.0, -20.0), Tone(1_000.0, -30.0))))
    block = sender.block(4_800)
    assert block.shape == (4_800, 24)
    assert block.dtype == np.float32
    assert np.all(block == block[:, :1])


def test_per_track_signals_reach_their_tracks() -> None:
    sender = Sender(RATE_HZ, 3)
    sender.send(PerTrack((Tone(1_000.0, -20.0), Silence(), Tone(3_000.0, -26.0))))
    sender.block(RAMP_FRAMES)
    block = sender.block(4_800).astype(np.float64)
    frame = np.arange(RAMP_FRAMES, RAMP_FRAMES + 4_800)
    for track, (frequency_hz, level_dbfs) in {0: (1_000.0, -20.0), 2: (3_000.0, -26.0)}.items():
        expected = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * frame / RATE_HZ)
        assert np.max(np.abs(block[:, track] - expected)) < 1e-7
    assert not block[:, 1].any()


def test_the_same_frequency_at_another_level_goes_on_in_phase() -> None:
    sender = Sender(RATE_HZ, 1)
    sender.send(Tone(1_000.0, -20.0))
    sender.block(RAMP_FRAMES)
    sender.send(Tone(1_000.0, -6.0))
    fading = sender.block(RAMP_FRAMES)[:, 0].astype(np.float64)
    sine = np.sin(2 * np.pi * 1_000.0 * np.arange(RAMP_FRAMES, 2 * RAMP_FRAMES) / RATE_HZ)
    envelope = fading[np.abs(sine) > 0.5] / sine[np.abs(sine) > 0.5]
    assert np.all(np.diff(envelope) >= -1e-7)
    assert 0.1 - 1e-7 <= envelope[0] < 0.11
    assert envelope[-1] == pytest.approx(10 ** (-6 / 20), abs=0.001)


def energy_outside(samples: np.ndarray, bands_hz: list[tuple[float, float]]) -> float:
    """Integral of the squared samples outside the bands, in s, by a -150 dB Kaiser window."""
    spectrum = fft.rfft(samples * windows.kaiser(len(samples), 20.0))
    frequency_hz = fft.rfftfreq(len(samples), 1 / RATE_HZ)
    outside = np.ones(len(frequency_hz), bool)
    for low_hz, high_hz in bands_hz:
        outside &= (frequency_hz < low_hz) | (frequency_hz > high_hz)
    return 2 * float(np.sum(np.abs(spectrum[outside]) ** 2)) / len(samples) / RATE_HZ


def ramp_energy_beyond(distance_hz: float, ramp_s: float) -> float:
    """Energy of a raised-cosine step on a sine of amplitude 1 farther off than this, in s.

    Closed form: the derivative (pi / 2T) sin(pi t / T) has the spectrum |cos(pi f T)| / |1 - 4 f²
    T²|, at most 1 / (4 f² T² - 1); over 2 pi f; squared, integrated on both sides, half a sine's.
    """
    f = np.geomspace(distance_hz, 1e6, 20_001)
    density = (1 / (2 * np.pi * f * (4 * f**2 * ramp_s**2 - 1))) ** 2
    return 2 * float(np.trapezoid(density, f)) / 2


def two_seconds_with_changes(changes: dict[int, object]) -> np.ndarray:
    sender = Sender(RATE_HZ, 1)
    sender.send(Tone(10_000.0, -20.0))
    sender.block(RATE_HZ)
    taken = []
    for frame in range(0, 2 * RATE_HZ, 480):
        if frame in changes:
            sender.send(changes[frame])  # type: ignore[arg-type]
        taken.append(sender.block(480)[:, 0].astype(np.float64))
    return np.concatenate(taken)


@pytest.mark.parametrize(
    ("changes", "steps"),
    [
        ({48_000: Silence()}, 0.1),
        ({48_000: Tone(10_000.0, -6.0)}, 0.5),
        ({48_000: Tone(1_000.0, -20.0)}, 0.2),
        ({48_000: Tone(1_000.0, -20.0), 48_960: Silence(), 49_440: Tone(10_000.0, -20.0)}, 0.4),
    ],
)
def test_a_change_stays_within_the_spectrum_of_its_ramp(
    changes: dict[int, object], steps: float
) -> None:
    # `steps` bounds the sum of the amplitude steps. A change during a ramp multiplies two ramps,
    # whose spectrum is wider: 300 Hz keeps clear of that, and 6 dB are allowed for it.
    samples = two_seconds_with_changes(changes)
    bands = [(9_700.0, 10_300.0), (700.0, 1_300.0)]
    allowed = steps**2 * ramp_energy_beyond(300.0, 0.05) * (4.0 if len(changes) > 1 else 1.0)
    assert energy_outside(samples, bands) < allowed + 2e-15  # float32 rounding: 2^-49 / 12 * 2 s
    abrupt = samples.copy()
    abrupt[48_010:] = 0.0
    assert energy_outside(abrupt, bands) > 1_000 * allowed


def test_a_sweep_runs_once_with_the_phase_of_its_closed_form_and_ends_in_silence() -> None:
    sender = Sender(RATE_HZ, 2)
    sender.block(1_000)
    sweep = Sweep(20.0, 20_000.0, 1.0, -12.0)
    sender.send(sweep)
    got = sender.block(2 * RATE_HZ)[:, 0].astype(np.float64)
    # Farina 2000 (from memory): phase = 2 pi f1 T / ln(f2/f1) (exp(t ln(f2/f1) / T) - 1).
    time_s = np.arange(RATE_HZ) / RATE_HZ
    rate = np.log(1000.0)
    expected = 10 ** (-12 / 20) * np.sin(2 * np.pi * 20.0 / rate * (np.exp(time_s * rate) - 1))
    steady = slice(RAMP_FRAMES, RATE_HZ - RAMP_FRAMES)
    assert np.max(np.abs(got[:RATE_HZ] - expected)[steady]) < 1e-7
    assert not got[RATE_HZ:].any()
    sender.send(sweep)
    assert sender.block(RATE_HZ).any()


@pytest.mark.parametrize(
    ("signal", "words"),
    [
        (Tone(24_000.0, -20.0), "24000 Hz cannot be sent at 48000 Hz"),
        (Tone(0.0, -20.0), "0 Hz cannot be sent"),
        (Tone(-1.0, -20.0), "-1 Hz cannot be sent"),
        (Tone(float("nan"), -20.0), "nan Hz cannot be sent"),
        (Tone(1_000.0, 0.1), "0.10 dB above full scale"),
        (Tone(1_000.0, float("nan")), "full scale"),
        (Tones((Tone(1_000.0, -3.0), Tone(2_000.0, -10.0))), "0.21 dB above full scale"),
        (Sweep(20.0, 24_000.0, 1.0, -20.0), "24000 Hz"),
        (Sweep(20.0, 20_000.0, 0.0, -20.0), "a sweep of 0 s"),
        (Multitone((100.0, 200.0), -20.0, (0.0,)), "one finite phase for each"),
        (PerTrack((Silence(),) * 3), "3 signals for 2 tracks"),
    ],
)
def test_what_cannot_be_sent_is_refused_and_the_sending_goes_on(signal: object, words: str) -> None:
    sender = Sender(RATE_HZ, 2)
    sender.send(Tone(1_000.0, -20.0))
    sender.block(RAMP_FRAMES)
    with pytest.raises(SignalError, match=words):
        sender.send(signal)  # type: ignore[arg-type]
    assert sender.signal == Tone(1_000.0, -20.0)
    assert np.max(np.abs(sender.block(480))) == pytest.approx(0.1, abs=1e-4)


def test_a_full_scale_pair_is_allowed_and_nonsense_is_misuse() -> None:
    half_dbfs = 20 * np.log10(0.5)
    Sender(RATE_HZ, 1).send(Tones((Tone(1_000.0, half_dbfs), Tone(2_000.0, half_dbfs))))
    for rate_hz, tracks, ramp_s in ((0, 1, 0.05), (48_000, 0, 0.05), (48_000, 1, 0.0)):
        with pytest.raises(MisuseError):
            Sender(rate_hz, tracks, ramp_s)


def test_a_multitone_may_use_its_low_peak() -> None:
    # 20 tones at -20 dBFS: the sum of peaks is 6 dB over, the optimised peak is not.
    frequencies_hz = [105.0 + 500.0 * k for k in range(20)]
    low = crest_optimised_multitone(frequencies_hz, -20.0, RATE_HZ, seed=3)
    sender = Sender(RATE_HZ, 1)
    sender.send(low)
    assert np.max(np.abs(settled(sender, 2 * RATE_HZ))) < 1.0
    with pytest.raises(SignalError, match="full scale"):
        sender.send(Multitone(low.frequencies_hz, -20.0, (np.pi / 2,) * 20))


def test_an_empty_block_and_a_replaced_wish_send_nothing() -> None:
    sender = Sender(RATE_HZ, 2)
    assert sender.block(0).shape == (0, 2)
    sender.send(Tone(1_000.0, -20.0))
    sender.silence()
    assert not sender.block(480).any()
