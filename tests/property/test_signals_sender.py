"""Whatever is asked for and whenever: no click, and block sizes leave no trace."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fluxbench.signals import PerTrack, Sender, Signal, Silence, Tone, Tones

RATE_HZ = 48_000
RAMP_FRAMES = 2_400

tones = st.builds(Tone, st.floats(20.0, 16_000.0), st.floats(-60.0, -7.0))
track_signals = st.one_of(
    st.just(Silence()), tones, st.builds(lambda a, b: Tones((a, b)), tones, tones)
)
signals = st.one_of(track_signals, st.builds(lambda a, b: PerTrack((a, b)), track_signals, tones))
wishes = st.lists(st.tuples(st.integers(0, 9_000), signals), min_size=1, max_size=6)


def run(plan: list[tuple[int, Signal]], block_frames: int) -> np.ndarray:
    """12 000 frames with every wish sent at its frame, in blocks no longer than given."""
    sender, taken = Sender(RATE_HZ, 2), [np.empty((0, 2), np.float32)]
    for frame, signal in [*sorted(plan, key=lambda wish: wish[0]), (12_000, Silence())]:
        while sender.sent_frames < frame:
            taken.append(sender.block(min(block_frames, frame - sender.sent_frames)))
        sender.send(signal)
    return np.concatenate(taken).astype(np.float64)


def slope_and_peak(signal: Signal) -> tuple[float, float]:
    """Greatest step from sample to sample, and greatest peak, of any track."""
    if isinstance(signal, PerTrack):
        slopes, peaks = zip(*map(slope_and_peak, signal.signals), strict=True)
        return max(slopes), max(peaks)
    parts = signal.tones if isinstance(signal, Tones) else (signal,)
    sines = [part for part in parts if isinstance(part, Tone)]
    amplitudes = [10 ** (sine.level_dbfs / 20) for sine in sines]
    steps = [
        2 * amplitude * np.sin(np.pi * sine.frequency_hz / RATE_HZ)
        for amplitude, sine in zip(amplitudes, sines, strict=True)
    ]
    return sum(steps), sum(amplitudes)


@settings(max_examples=40, deadline=None)
@given(wishes, st.integers(50, 3_000))
def test_no_step_beyond_the_tones_own_and_the_ramps(
    plan: list[tuple[int, Signal]], block_frames: int
) -> None:
    samples = run(plan, block_frames)
    slopes, peaks = zip(*(slope_and_peak(signal) for _, signal in plan), strict=True)
    ramps = len(plan) * np.pi / 2 / RAMP_FRAMES * 2 * max(peaks)
    assert np.max(np.abs(np.diff(samples, axis=0))) <= max(slopes) + ramps + 1e-6
    assert np.max(np.abs(samples)) <= max(peaks) + 1e-6


@settings(max_examples=40, deadline=None)
@given(wishes, st.integers(50, 3_000), st.integers(50, 3_000))
def test_block_sizes_leave_no_trace(
    plan: list[tuple[int, Signal]], one_frames: int, other_frames: int
) -> None:
    difference = run(plan, one_frames) - run(plan, other_frames)
    assert np.max(np.abs(difference)) < 5e-7
