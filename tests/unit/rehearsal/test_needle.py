"""The technician by needle on modelled decks: he ends, he helps, he sees only what needles show."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pytest

from fluxbench.lineup import View
from fluxbench.links import DeckLink
from fluxbench.rehearsal import Rehearsed, rehearse_needle
from tests.decks.second_deck import SecondDeck

RATE_HZ = 32_000
pytestmark = pytest.mark.timeout(900)  # a whole line-up on a busy machine

LEFT_RMS = {
    "over_bias_db": 0.6,
    "record_level_db": 0.25,
    "reproduce_level_db": 0.25,
    "sync_level_db": 0.25,
    "record_high_db": 0.7,
    "reproduce_high_db": 0.5,
    "sync_high_db": 0.5,
}
"""What a needle can do: reading errors of 0.1 to 0.3 dB and contentment of 0.1 or 0.25 dB add."""


class WatchedDeck(SecondDeck):
    """Counts the frames for which the tape was moving and remembers whether truth was asked."""

    def __init__(self, tracks: int, seed: int, faults: Sequence[str] = ()) -> None:
        super().__init__(tracks, 15.0, seed, RATE_HZ, faults)
        self.moving_frames = 0
        self.turned_after_truth = False
        self._told = False

    def process(self, send: np.ndarray) -> np.ndarray:
        self.moving_frames += len(send) if self.state()["transport"] != "stop" else 0
        return super().process(send)

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        self.turned_after_truth |= self._told
        return super().turn(trimmer, turns, track)

    def truth(self) -> dict[str, Any]:
        self._told = True
        return super().truth()


def rms(values: Any) -> float:
    return float(np.sqrt(np.mean(np.square(np.atleast_1d(values)))))


@pytest.fixture(scope="module")
def lined_up() -> tuple[Mapping[str, Any], WatchedDeck, Rehearsed, list[View]]:
    """A deck of two tracks, before and after; a line-up takes some seconds."""
    before = SecondDeck(2, 15.0, 3, RATE_HZ).truth()["residual"]
    deck = WatchedDeck(2, 3)
    views: list[View] = []
    return before, deck, rehearse_needle(DeckLink(deck), deck, 3, views.append), views


Case = tuple[Mapping[str, Any], WatchedDeck, Rehearsed, list[View]]


def test_he_comes_to_an_end(lined_up: Case) -> None:
    _, deck, result, views = lined_up
    assert result.stopped is None
    assert result.notes == ()
    assert views[-1].closed
    assert deck.state()["transport"] == "stop"
    stages = [entry["name"] for entry in result.journal if entry["what"] == "stage"]
    assert stages == [
        "input check", "reproduce", "sync", "load", "azimuth", "bias", "record level",
        "record high end", "azimuth again", "low end", "quick check",
    ]  # fmt: skip


def test_he_brings_every_quantity_to_what_a_needle_allows(lined_up: Case) -> None:
    before, _, result, _ = lined_up
    left = result.line["residual"]
    assert {key: rms(left[key]) for key, most in LEFT_RMS.items() if rms(left[key]) > most} == {}
    assert rms([before[key] for key in LEFT_RMS]) > 3 * rms([left[key] for key in LEFT_RMS])
    # 15 degrees of reading and 10 of contentment at 10 kHz, 15 in/s; gap scatter on top
    pitch_mm = 4.0
    arcmin = 60 * np.degrees(25 / 360 / 10_000 * 381 / pitch_mm)
    assert abs(left["reproduce_azimuth_arcmin"]) < 1.5 * arcmin


def test_he_never_records_on_the_calibration_tape(lined_up: Case) -> None:
    _, deck, _, _ = lined_up
    assert deck.truth()["calibration_wiped"] is False


def test_the_truth_is_for_the_judge(lined_up: Case) -> None:
    assert not lined_up[1].turned_after_truth


def test_the_line_keeps_the_contract(lined_up: Case) -> None:
    _, deck, result, _ = lined_up
    line = json.loads(json.dumps(result.line, allow_nan=False))
    assert (line["method"], line["tracks"], line["seed"]) == ("needle", 2, 3)
    assert set(line["visits"]) == {
        *deck.state()["trimmers"]["per_track"], *deck.state()["trimmers"]["per_stack"],
    }  # fmt: skip
    assert all(len(line["visits"][kind]) == 2 for kind in ("bias", "record_level"))
    assert len(line["visits"]["record_azimuth"]) == 1
    assert line["visits"]["bias"] == [1, 1]
    json.dumps(result.journal, allow_nan=False)


def test_tape_time_is_the_time_that_the_transport_ran(lined_up: Case) -> None:
    """Within the few steps of 40 ms around each press of a button."""
    _, deck, result, _ = lined_up
    assert result.line["tape_time_s"] == pytest.approx(deck.moving_frames / RATE_HZ, abs=2.0)


def test_a_dead_track_is_noticed_and_left_out() -> None:
    """The line-up is watched until bias begins, then given up."""
    deck = SecondDeck(2, 15.0, 4, RATE_HZ, ["dead:2"])

    class SeenEnoughError(Exception):
        pass

    seen: list[View] = []

    def watch(view: View) -> None:
        seen.append(view)
        if view.stage == "reproduce":
            raise SeenEnoughError

    with pytest.raises(SeenEnoughError):
        rehearse_needle(DeckLink(deck), deck, 4, watch)
    assert seen[-1].notes == ("track 2 is dead: it does not return its input",)


def test_without_any_return_he_gives_up() -> None:
    deck = SecondDeck(2, 15.0, 4, RATE_HZ, ["dead:1", "dead:2"])
    result = rehearse_needle(DeckLink(deck), deck, 4)
    assert result.stopped == "no track returns its input"
    assert result.journal[-1]["what"] == "stopped"
    assert result.line["tape_time_s"] == 0.0


def test_he_reads_the_spot_tones_and_the_response_as_the_trade_does(lined_up: Case) -> None:
    """All needles, without a turn: spot frequencies of the calibration tape, response on stock."""
    _, _, done, _ = lined_up
    told = {entry["what"]: entry for entry in done.journal}
    spots = told["spot tones"]["level_db"]
    assert {"31.5", "125", "500", "2000", "8000"} <= set(spots)
    # 250 nWb/m on an operating level of 355 is -3.05 dB (closed form); its spots lie 10 lower.
    assert all(abs(level + 13.05) < 1.0 for f in ("500", "2000", "8000") for level in spots[f])
    response = told["response"]["level_db"]
    assert all(abs(level + 20.0) < 1.5 for f in ("500", "2000", "8000") for level in response[f])
