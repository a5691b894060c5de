"""Frames lost in silence are noticed, and a tone that is whole is left in peace."""

import os

import numpy as np
import pytest

from fluxbench.base import Block, Flag
from fluxbench.engine import Engine
from fluxbench.links import DeckLink
from fluxbench.measure import EnvelopeBank, Wanted
from fluxbench.measure._slips import SlipDetector
from fluxbench.signals import Tone

TRIALS = 200 if os.environ.get("FLUXBENCH_LONG") else 20
CLEAN_S = 3600 if os.environ.get("FLUXBENCH_LONG") else 360
TONES_HZ = (1000.0, 1600.0, 3150.0, 10_000.0, 16_000.0)
FLUTTER_HZ = (0.6, 2.3, 5.1, 9.7, 14.0, 27.0, 43.0, 60.0, 87.0)
NOTHING_LEFT_DEG = 5.0
"""So near to whole cycles a loss changes no level by more than 0.01 dB in 0.1 s."""


def from_tape(
    frequencies_hz: tuple[float, ...],
    rate_hz: int,
    first_frame: int,
    frames: int,
    tracks: int,
    rng: np.random.Generator,
    parts: np.ndarray,
) -> np.ndarray:
    """Tones of -20 dBFS as a tape gives them: flutter, level that wanders, hiss 50 dB below."""
    time_s = (first_frame + np.arange(frames)) / rate_hz
    moved_s = np.zeros(frames)
    for at_hz, (deviation, phase) in zip(FLUTTER_HZ, parts, strict=True):
        moved_s += deviation / (2 * np.pi * at_hz) * np.sin(2 * np.pi * at_hz * time_s + phase)
    moved_s += time_s
    wave = np.sum([np.sin(2 * np.pi * f * moved_s) for f in frequencies_hz], axis=0)
    wander = 1.0 + 0.02 * np.sin(2 * np.pi * 1.3 * time_s[:, None] + np.arange(tracks))
    hiss = 10 ** (-73 / 20) * rng.standard_normal((frames, tracks))
    return np.asarray(0.1 * wave[:, None] * wander + hiss, np.float32)


def flutter(rng: np.random.Generator) -> np.ndarray:
    """Of each part the relative deviation, 0.01 to 0.025 %, and where it begins (parts, 2)."""
    count = len(FLUTTER_HZ)
    return np.stack([rng.uniform(1e-4, 2.5e-4, count), rng.uniform(0, 6.28, count)], axis=1)


def hops_with_a_loss(
    tones_hz: tuple[float, ...], rng: np.random.Generator, lost: int, rate_hz: int
) -> tuple[bool, int]:
    """Whether a loss 1 s after the start was noticed, and how many hops before it were blamed."""
    tracks = int(rng.choice([1, 2, 8]))
    whole = from_tape(tones_hz, rate_hz, 0, 3 * rate_hz // 2, tracks, rng, flutter(rng))
    at = rate_hz + int(rng.integers(rate_hz // 10))
    samples = np.delete(whole, slice(at, at + lost), axis=0)
    hops = EnvelopeBank(rate_hz, tracks, tones_hz).process(Block(samples, 0))
    noticed = [hop.first_frame + hop.frames for hop in hops if hop.slipped]
    return any(at < end <= at + 3 * hops[0].frames for end in noticed), sum(
        end <= at for end in noticed
    )


def whole_cycles_deg(lost: int, frequency_hz: float, rate_hz: int) -> float:
    """How far a loss is from whole cycles of a tone, in degrees of it."""
    cycles = lost * frequency_hz / rate_hz
    return abs(cycles - round(cycles)) * 360.0


def drawn_loss(rng: np.random.Generator) -> tuple[int, int]:
    """Frames lost, 8 to 2048, and a rate."""
    most = int(rng.choice([8, 64, 512, 2048]))
    return int(rng.integers(8, most + 1)), int(rng.choice([48_000, 96_000]))


def test_silent_losses_of_eight_frames_and_more_are_noticed() -> None:
    rng = np.random.default_rng(5)
    caught = trials = blamed = 0
    while trials < TRIALS:
        lost, rate_hz = drawn_loss(rng)
        tone_hz = float(rng.choice(TONES_HZ))
        if whole_cycles_deg(lost, tone_hz, rate_hz) < NOTHING_LEFT_DEG:
            continue  # it leaves no trace in this tone, see `whole_cycles`
        noticed, wrongly = hops_with_a_loss((tone_hz,), rng, lost, rate_hz)
        trials, caught, blamed = trials + 1, caught + noticed, blamed + wrongly
    assert caught >= 0.99 * trials
    assert blamed == 0


def test_two_tones_also_show_what_is_whole_cycles_of_one() -> None:
    rng = np.random.default_rng(6)
    caught = trials = 0
    while trials < TRIALS // 2:
        lost, rate_hz = drawn_loss(rng)
        degrees = [whole_cycles_deg(lost, f, rate_hz) for f in (10_000.0, 1000.0)]
        if min(degrees) > NOTHING_LEFT_DEG or max(degrees) < NOTHING_LEFT_DEG:
            continue
        trials += 1
        caught += hops_with_a_loss((10_000.0, 1000.0), rng, lost, rate_hz)[0]
    assert caught >= 0.99 * trials


@pytest.mark.timeout(900)
@pytest.mark.parametrize("tone_hz", [1000.0, 10_000.0])
def test_a_whole_tone_is_never_blamed(tone_hz: float) -> None:
    rng, rate_hz = np.random.default_rng(7), 48_000
    bank, parts = EnvelopeBank(rate_hz, 1, (tone_hz,)), flutter(rng)
    blamed = 0
    for first in range(0, CLEAN_S // 2 * rate_hz, 4 * rate_hz):
        samples = from_tape((tone_hz,), rate_hz, first, 4 * rate_hz, 1, rng, parts)
        blamed += sum(hop.slipped for hop in bank.process(Block(samples, first)))
    assert blamed == 0


def test_a_drop_out_and_a_turn_are_no_losses() -> None:
    rng, rate_hz = np.random.default_rng(8), 48_000
    samples = from_tape((1000.0,), rate_hz, 0, 4 * rate_hz, 2, rng, flutter(rng))
    dip = 1.0 - 0.9 * np.exp(-(((np.arange(4 * rate_hz) / rate_hz - 2.0) / 0.01) ** 2))
    samples[:, 0] *= dip.astype(np.float32)
    samples[3 * rate_hz :, 1] *= np.float32(1.3)
    hops = EnvelopeBank(rate_hz, 2, (1000.0,)).process(Block(samples, 0))
    assert not any(hop.slipped for hop in hops)


def test_a_hop_with_missing_frames_is_lost_and_what_is_told_is_not_told_twice() -> None:
    rng, rate_hz = np.random.default_rng(9), 48_000
    samples = from_tape((1000.0,), rate_hz, 0, 2 * rate_hz, 2, rng, flutter(rng))
    silent = np.delete(samples, slice(72_000, 72_020), axis=0)
    hops = EnvelopeBank(rate_hz, 2, (1000.0,)).process(Block(silent, 0))
    assert [hop.lost for hop in hops if hop.slipped] == [True] * sum(h.slipped for h in hops)
    bank = EnvelopeBank(rate_hz, 2, (1000.0,))
    told = bank.process(Block(samples[:72_000], 0))
    told += bank.process(Block(samples[72_020:], 72_020, Flag.INPUT_LOST))
    assert any(hop.lost for hop in told)
    assert not any(hop.slipped for hop in told)


class ForgetfulDeck:
    """A wire that once loses frames and says nothing."""

    rate_hz, tracks = 48_000, 2

    def __init__(self, lose_at_s: float | None) -> None:
        self._lose_at, self._heard = lose_at_s, 0
        self._kept = np.zeros((0, 2), np.float32)

    def process(self, send: np.ndarray) -> np.ndarray:
        self._heard += len(send)
        self._kept = np.concatenate([self._kept, send])
        if self._lose_at is not None and self._heard > self._lose_at * self.rate_hz:
            self._kept, self._lose_at = np.delete(self._kept, slice(300, 320), axis=0), None
        out = self._kept[: len(send)]
        self._kept = self._kept[len(send) :]
        return np.concatenate([np.zeros((len(send) - len(out), 2), np.float32), out])


@pytest.mark.parametrize("lose_at_s", [None, 2.0])
def test_a_stretch_with_missing_frames_is_lost(lose_at_s: float | None) -> None:
    engine = Engine(DeckLink(ForgetfulDeck(lose_at_s)), 2)
    engine.send(Tone(1000.0, -20.0))
    engine.listen((1000.0,))
    while engine.time_s < 1.5:
        engine.step()
    engine.keep(Wanted(1, "harmonics", 1.0, 1000.0))
    while not (done := engine.stretches()):
        engine.step()
    assert done[0].lost is (lose_at_s is not None)


@pytest.mark.parametrize("tones_hz", [(100.0,), tuple(1000.0 * n for n in range(1, 14))])
def test_what_is_not_watched_keeps_nothing(tones_hz: tuple[float, ...]) -> None:
    """No tone to watch, or too many of them: samples must not pile up."""
    seen = SlipDetector(48_000, 960)
    for n in range(50):
        assert not seen.see(np.ones((960, 2), np.float32), 960 * n, tones_hz)
    assert seen._past.size == 0
