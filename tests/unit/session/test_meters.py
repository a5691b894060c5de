"""What the meters tell: plain numbers, None where there is none, and a bias picture that fits."""

import json

import numpy as np
import pytest

from fluxbench.lineup import Peak, Picture
from fluxbench.lineup._peak import modulation_noise_db
from fluxbench.session import bias_picture
from fluxbench.session._meters import MOST_POINTS, least_at, number, plain, sending
from fluxbench.signals import PerTrack, Silence, Tone, Tones


def test_what_is_not_finite_is_none() -> None:
    assert plain([1.23456, np.nan, np.inf, -0.5]) == [1.235, None, None, -0.5]
    assert [number(v) for v in (None, np.nan, 2.0)] == [None, None, 2.0]


def test_what_is_sent_is_told_re_operating_level() -> None:
    tone = Tone(10_000.0, -36.0)
    told = {"frequency_hz": 10_000.0, "level_db": -20.0}
    assert sending(tone, -16.0) == [told]
    assert sending(Tones((tone, tone)), -16.0) == [told, told]
    assert sending(PerTrack((tone, Silence())), -16.0) == [told]
    assert sending(Silence(), -16.0) == []


@pytest.mark.parametrize("depth", [0.3, 0.01])
def test_modulation_noise_of_a_modulated_tone(depth: float) -> None:
    """A sine of depth m has an rms of m / sqrt 2 of the tone: closed form."""
    t = np.arange(1000) / 1000.0
    envelope = ((1.0 + depth * np.sin(2 * np.pi * 20.0 * t)) * np.exp(0.3j)).astype(np.complex64)
    assert modulation_noise_db(envelope) == pytest.approx(20 * np.log10(depth / 2**0.5), abs=0.01)


def test_modulation_noise_of_nothing_is_none() -> None:
    assert np.isnan(modulation_noise_db(np.zeros(100, np.complex64)))


def parabola(points: int) -> Picture:
    """S = -18 - D² / 4, from D = +3 (too little bias) to -4; noise least at D = -1."""
    differ = np.linspace(3.0, -4.0, points)
    short = -18.0 - differ**2 / 4.0
    noise = -50.0 + (differ + 1.0) ** 2
    return Picture(2, "set", differ, short, noise, Peak(-18.0, 0.01, 0.0))


def test_the_bias_picture_shows_top_sheet_and_here() -> None:
    shown = bias_picture(parabola(200), 2.25)
    json.dumps(shown, allow_nan=False)
    assert shown["peak"] == {"level_db": -18.0, "error_db": 0.01, "difference_db": 0.0}
    # The sheet's fall of 2.25 dB: D² / 4 = 2.25 at D = -3, on the side of more bias.
    assert shown["sheet"]["short_db"] == pytest.approx(-20.25)
    assert shown["sheet"]["difference_db"] == pytest.approx(-3.0, abs=0.3)
    assert shown["here"]["difference_db"] == pytest.approx(-3.9, abs=0.05)
    fit = np.array(shown["fit"]["short_db"])
    assert fit == pytest.approx(-18.0 - np.array(shown["fit"]["difference_db"]) ** 2 / 4, abs=0.01)
    assert shown["least_noise_difference_db"] == pytest.approx(-1.0)


def test_a_long_trace_is_thinned() -> None:
    shown = bias_picture(parabola(3000), 2.25)
    assert 200 <= len(shown["short_db"]) <= MOST_POINTS


def test_without_a_peak_there_is_no_point_of_the_sheet() -> None:
    picture = parabola(30)
    bare = Picture(1, "start", picture.difference_db, picture.short_db, np.full(30, np.nan), None)
    shown = bias_picture(bare, 2.25)
    assert (shown["peak"], shown["fit"], shown["sheet"]) == (None, None, None)
    assert shown["modulation_noise_db"] == [None] * 30


def test_a_least_noise_at_the_end_of_the_way_is_none() -> None:
    differ = np.linspace(0.0, 5.0, 300)
    assert least_at(differ, differ) is None
