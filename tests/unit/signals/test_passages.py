"""Passages: what stands where, how it is counted out, and no click on the way."""

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.base import SignalError
from fluxbench.signals import Passage, PassageSender, Silence, Tone, line_up_passages
from fluxbench.trade import LineUpTone

RATE_HZ = 48_000
PRINTED = (LineUpTone(1000.0, 0.0, 1.0), LineUpTone(10_000.0, -10.0, 1.5))


def rendered(sender: PassageSender) -> NDArray[np.float32]:
    return np.concatenate(list(sender.blocks()))


def test_a_tone_is_counted_out_before_it_comes() -> None:
    passages = line_up_passages(PRINTED, -16.0)
    sounding = [(p.signal, p.number) for p in passages if p.signal != Silence()]
    pip = Tone(250.0, -36.0)
    assert sounding == [
        (pip, 0),
        (Tone(1000.0, -16.0), 1),
        (pip, 0),
        (pip, 0),
        (Tone(10_000.0, -26.0), 2),
    ]


def test_without_a_slate_there_are_tones_and_silence_alone() -> None:
    passages = line_up_passages(PRINTED, -16.0, slated=False)
    assert [(p.number, p.hold_s) for p in passages] == [
        (0, 2.0),
        (1, 1.0),
        (0, 2.0),
        (2, 1.5),
        (0, 2.0),
    ]


def test_spans_hold_the_level_in_full_and_silence_is_nothing_at_all() -> None:
    """A sine of amplitude a has the mean square a^2 / 2 over whole periods."""
    sender = PassageSender(line_up_passages(PRINTED, -16.0, slated=False), RATE_HZ, 2)
    wave = rendered(sender)
    assert wave.shape == (sender.frames, 2)
    for passage, (begin, end) in zip(sender.passages, sender.spans, strict=True):
        assert end - begin == round(passage.hold_s * RATE_HZ)
        held = wave[begin:end].astype(np.float64)
        if isinstance(passage.signal, Tone):
            level_dbfs = 10 * np.log10(2 * np.mean(held**2, axis=0))
            assert level_dbfs == pytest.approx([passage.signal.level_dbfs] * 2, abs=1e-4)
        else:
            assert not held.any()


def test_nothing_jumps() -> None:
    """The steepest step of a sine is 2 a sin(pi f / rate), of a raised cosine pi a / (2 frames)."""
    sender = PassageSender(line_up_passages(PRINTED, 0.0), 47_123, 1)  # no tone ends on a zero
    ramp = round(0.02 * 47_123)
    wave = rendered(sender)[:, 0].astype(np.float64)
    for passage, (begin, end) in zip(sender.passages, sender.spans, strict=True):
        if not isinstance(passage.signal, Tone):
            continue
        around = wave[begin - ramp : end + ramp]
        top = 10 ** (passage.signal.level_dbfs / 20)
        turn = np.pi * passage.signal.frequency_hz / 47_123
        steepest = top * (2 * np.sin(turn) + np.pi / (2 * ramp))
        assert np.abs(np.diff(around)).max() <= steepest * (1 + 1e-5)
        assert wave[begin - ramp - 1] == 0 == wave[end + ramp]


def test_blocks_are_small_however_long_a_passage_is() -> None:
    sender = PassageSender([Passage(Tone(1000.0, -16.0), 3600.0)], RATE_HZ, 1)
    blocks = sender.blocks()
    assert all(len(next(blocks)) <= 8192 for _ in range(10))


@pytest.mark.parametrize("signal", [Tone(5000.0, -16.0), Tone(100.0, 0.1)])
def test_what_cannot_be_sent_is_refused_before_anything_is(signal: Tone) -> None:
    with pytest.raises(SignalError):
        PassageSender([Passage(Tone(100.0, -16.0), 1.0), Passage(signal, 1.0)], 10_000, 1)
