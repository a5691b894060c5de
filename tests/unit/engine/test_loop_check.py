"""A loop-back check finds what a made-up interface is made of, and says what is wrong with it."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from fluxbench.base import Block, Flag
from fluxbench.engine import Cable, LoopBack, LoopCheck

RATE_HZ = 48_000
DELAY = 1234


@dataclass
class Interface:
    """Outputs cabled to inputs by a matrix of gains (outputs, inputs), a delay later, and hiss."""

    cabling: np.ndarray
    delays: tuple[int, ...] = ()
    hiss: float = 1e-5
    cubic: float = 0.0
    told_at: int = -1
    silent_at: int = -1
    drift_ppm: float = 0.0
    rate_hz: int = RATE_HZ

    def __post_init__(self) -> None:
        self.outputs, self.inputs = self.cabling.shape
        self._delays = np.array(self.delays or (DELAY,) * self.inputs)
        self._random = np.random.default_rng(3)
        self._arrived = np.zeros((60 * RATE_HZ, self.inputs), np.float32)
        self._frame = 0

    def exchange(self, send: np.ndarray) -> Block:
        first, last = self._frame, self._frame + len(send)
        bent = send + self.cubic * send.astype(np.float64) ** 3
        self._arrived[first:last] = bent @ self.cabling
        if first <= self.silent_at < last:
            self._delays = self._delays - 20
        out = self.hiss * self._random.standard_normal((len(send), self.inputs))
        at = np.arange(first, last) / (1.0 + 1e-6 * self.drift_ppm)
        for n, delay in enumerate(self._delays):
            low = max(int(at[0]) - delay - 2, 0)
            places = np.arange(low, max(last - delay + 2, low + 2))
            heard = self._arrived[places, n] * (places < last)
            out[:, n] += np.interp(at - delay, places, heard, left=0.0)
        flags = Flag.INPUT_LOST if first <= self.told_at < last else Flag.NONE
        self._frame = last
        return Block(out.astype(np.float32), first, flags)

    def close(self) -> None:
        pass


def check_of(link: Interface, tone_s: float = 1.0) -> LoopBack:
    check = LoopCheck(link, -12.0, tone_s)
    while check.result is None:
        check.step()
    return check.result


def test_a_sound_interface_is_measured_and_has_no_faults() -> None:
    cabling = np.diag([0.9, 0.95, 0.92]) + 1e-4 * (1 - np.eye(3))
    found = check_of(Interface(cabling))
    assert found.faults == []
    assert [(c.output, c.input, c.reversed) for c in found.cables] == [
        (1, 1, False),
        (2, 2, False),
        (3, 3, False),
    ]
    assert found.round_trip_frames == DELAY
    gains = [cable.gain_db for cable in found.cables]
    assert gains == pytest.approx(20.0 * np.log10([0.9, 0.95, 0.92]), abs=0.002)
    # Hiss of 1e-5 rms is -97 dB re the rms of a full-scale sine over 0 to 24 kHz.
    in_band_dbfs = 20 * np.log10(1e-5 * np.sqrt(2)) + 10 * np.log10(19_980 / 24_000)
    assert found.noise_dbfs == pytest.approx([in_band_dbfs] * 3, abs=0.2)
    # Input 2 hears outputs 1 and 3 together, re the first of those.
    assert found.crosstalk_db[1] == pytest.approx(20 * np.log10(2e-4 / 0.9), abs=0.3)
    assert abs(found.drift_ppm or 0.0) < 0.1
    assert (found.lost_told, found.lost_silent) == (0, 0)


def test_crossed_reversed_weak_dead_and_late_inputs_are_named() -> None:
    cabling = np.zeros((5, 5))
    cabling[0, 1] = cabling[1, 0] = 1.0
    cabling[2, 2] = -1.0
    cabling[3, 3] = 0.5
    found = check_of(Interface(cabling, delays=(DELAY, DELAY, DELAY, DELAY + 7, DELAY)))
    faults = "\n".join(found.faults)
    for said in (
        "crossed: input 1 hears output 2",
        "crossed: input 2 hears output 1",
        "input 3 comes back reversed",
        "input 4 comes back -6.02 dB re the others",
        "input 4 is +7.0 frames off",
        "input 5 hears no output",
    ):
        assert said in faults
    assert len(found.faults) == 6


def test_one_output_may_feed_all_inputs_but_two_outputs_on_one_are_told() -> None:
    multed = check_of(Interface(np.ones((1, 3))))
    assert multed.faults == []
    assert [cable.input for cable in multed.cables] == [1, 2, 3]
    mixed = check_of(Interface(np.array([[1.0, 0.0], [0.7, 1.0]])))
    assert mixed.faults[0] == "input 1 hears outputs 1 and 2 at once: part them"


def test_noise_and_harmonics_are_told() -> None:
    found = check_of(Interface(np.eye(2), hiss=1e-3, cubic=0.4))
    # A cubic k x^3 gives a third harmonic of k A^2 / 4 over 1 + 3 k A^2 / 4.
    square = 0.4 * 10 ** (-12 / 10)
    percent = 100 * (square / 4) / (1 + 3 * square / 4)
    assert found.cables[0].harmonics_percent == pytest.approx(percent, rel=0.02)
    assert any("of harmonics: lower its level" in fault for fault in found.faults)
    assert any("input 2 has noise of -58 dBFS" in fault for fault in found.faults)


def test_an_interface_that_returns_nothing_says_one_thing() -> None:
    found = check_of(Interface(np.zeros((2, 2))))
    assert len(found.faults) == 1
    assert "no output comes back at any input" in found.faults[0]


def test_lost_frames_are_counted_told_and_silent() -> None:
    at = RATE_HZ * 6
    told = check_of(Interface(np.eye(2), told_at=at), tone_s=4.0)
    assert (told.lost_told, told.lost_silent) == (1, 0)
    silent = check_of(Interface(np.eye(2), silent_at=at), tone_s=4.0)
    assert (silent.lost_told, silent.lost_silent) == (0, 1)
    assert any("nobody told" in fault for fault in silent.faults)


def test_two_clocks_are_measured_and_refused() -> None:
    found = check_of(Interface(np.eye(2), drift_ppm=30.0), tone_s=2.0)
    assert found.drift_ppm == pytest.approx(30.0, abs=0.5)
    assert found.refused
    assert any("do not share a clock" in fault for fault in found.faults)


def test_what_cannot_be_read_is_no_number() -> None:
    clipping = check_of(Interface(np.eye(1) * 1.0))
    cable = replace(clipping.cables[0], gain_db=None, why="clipped")
    assert isinstance(cable, Cable)
    told = replace(clipping, cables=(cable,)).faults
    assert told == ["input 1 gives no reading of its tone (clipped): lower or raise its gain"]
