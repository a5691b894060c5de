"""The hands of the practice deck: what they answer, what they refuse, what they do to the tape."""

import json
from typing import Any

import numpy as np
import pytest

from fluxbench.base import DeckError, MisuseError
from fluxbench.deck import FAULTS, STOCKS, PracticeDeck
from tests.unit.deck.rig import Rig, levels_db


def test_state_is_that_of_the_contract() -> None:
    state = PracticeDeck(tracks=3).state()
    again = json.loads(json.dumps(state, allow_nan=False))
    assert again == state
    wanted = {
        "tracks", "rate_hz", "speed_ips", "equalisation", "track_pitch_mm", "track_width_mm",
        "record_gap_um", "head_spacing_mm", "transport", "monitor", "ready", "tape", "tapes",
        "position_s", "section", "turning", "electrical", "operating_fluxivity_nwb_per_m",
        "trimmers", "data_sheet",
    }  # fmt: skip
    assert wanted <= state.keys()
    assert state["tapes"] == ["calibration", "stock", "reel"]
    assert state["equalisation"] == {"t1_us": None, "t2_us": 35.0}
    assert state["data_sheet"]["fluxivity_nwb_per_m"] == 250.0
    assert state["data_sheet"]["sections"][0]["frequency_hz"] == 1000.0


@pytest.mark.parametrize(
    ("speed_ips", "frequency_hz", "over_bias_db"),
    [(7.5, 5000, 2.8), (15.0, 10_000, 2.8), (30.0, 20_000, 2.8)],
)
def test_stock_sheet(speed_ips: float, frequency_hz: float, over_bias_db: float) -> None:
    """38.1 um with a 9 um gap: 2.83 dB (section 2 of the study), to a tenth."""
    sheet = PracticeDeck(tracks=1, speed_ips=speed_ips).load("stock")["data_sheet"]
    assert sheet["over_bias_frequency_hz"] == frequency_hz
    assert sheet["over_bias_db"] == over_bias_db
    assert sheet["over_bias_level_db"] == -20


@pytest.fixture(scope="module")
def untouched() -> PracticeDeck:
    """For calls that change nothing."""
    return PracticeDeck(tracks=2)


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("turn", {"trimmer": "treble", "turns": 1.0, "track": 1}),
        ("turn", {"trimmer": "bias", "turns": 1.0}),
        ("turn", {"trimmer": "bias", "turns": 1.0, "track": 3}),
        ("turn", {"trimmer": "bias", "turns": 1.0, "track": 0}),
        ("turn", {"trimmer": "bias", "turns": float("nan"), "track": 1}),
        ("turn", {"trimmer": "record_azimuth", "turns": 1.0, "track": 1}),
        ("transport", {"state": "fly"}),
        ("transport", {"monitor": "tape"}),
        ("transport", {"ready": [3]}),
        ("load", {"tape": "mine"}),
        ("locate", {}),
        ("locate", {"section": 99}),
        ("locate", {"section": 1, "position_s": 3.0}),
        ("locate", {"position_s": -1.0}),
        ("locate", {"position_s": float("inf")}),
    ],
)
def test_refused_calls_change_nothing(
    untouched: PracticeDeck, name: str, arguments: dict[str, Any]
) -> None:
    deck = untouched
    before, truth = deck.state(), deck.truth()
    with pytest.raises(DeckError) as refused:
        getattr(deck, name)(**arguments)
    assert "\n" not in str(refused.value)
    assert (deck.state(), deck.truth()) == (before, truth)


@pytest.mark.parametrize(
    "options",
    [
        {"tracks": 0}, {"tracks": 25}, {"speed_ips": 14.0}, {"stock": "gold"}, {"rate_hz": 10},
        {"faults": ["rust"]}, {"faults": ["card"]}, {"faults": ["card:25"]},
        {"faults": ["crossed:3"]}, {"faults": ["crossed:3,3"]},
    ],
)  # fmt: skip
def test_a_deck_that_cannot_be(options: dict[str, Any]) -> None:
    with pytest.raises(MisuseError):
        PracticeDeck(**options)


def test_sends_of_another_shape_are_refused() -> None:
    deck = PracticeDeck(tracks=2)
    for send in (np.zeros((10, 3), np.float32), np.zeros((10, 2)), np.zeros(10, np.float32)):
        with pytest.raises(MisuseError):
            deck.process(send)
    assert deck.process(np.zeros((0, 2), np.float32)).shape == (0, 2)


def test_a_turn_takes_its_time_and_moves_the_truth_only_then() -> None:
    rig = Rig(tracks=2)
    before = rig.deck.truth()["residual"]["record_level_db"]
    seconds = rig.deck.turn("record_level", 1.0, 2)
    assert 0.5 < seconds < 3.0
    assert rig.deck.state()["turning"]
    assert rig.deck.truth()["residual"]["record_level_db"] == before
    rig.send(seconds + 0.1)
    assert not rig.deck.state()["turning"]
    after = rig.deck.truth()["residual"]["record_level_db"]
    assert after[0] == before[0]
    assert 0.3 < abs(after[1] - before[1]) < 2.0


def test_winding_is_silent_and_takes_longer_the_further() -> None:
    rig = Rig(tracks=1)
    rig.deck.load("stock")
    rig.wound()
    rig.deck.locate(position_s=300.0)
    begin = rig.frame
    rig.wound()
    assert (rig.frame - begin) / 48_000.0 == pytest.approx(1.0 + 300.0 / 30.0, abs=0.1)
    assert rig.deck.state()["position_s"] == 300.0


def test_play_goes_on_by_time_alone_and_stops_at_the_end() -> None:
    rig = Rig(tracks=1)
    rig.deck.load("stock")
    rig.wound()
    length_s = 2500.0 * 12.0 / 15.0  # 2500 ft at 15 ips
    rig.deck.locate(position_s=length_s - 3.0)
    rig.wound()
    rig.deck.transport(state="play")
    rig.send(2.0)
    assert rig.deck.state()["position_s"] == pytest.approx(length_s - 1.0, abs=0.15)
    assert rig.deck.state()["transport"] == "play"
    rig.send(1.5)
    assert rig.deck.state()["transport"] == "stop"


def test_sections_come_as_the_sheet_says() -> None:
    rig = Rig(tracks=1)
    sections = rig.deck.state()["data_sheet"]["sections"]
    for number in (1, 2, len(sections) - 1):
        rig.play_section(number)
        assert rig.deck.state()["section"] == number
        back = rig.send(1.0)
        power = np.abs(np.fft.rfft(back[:, 0])) ** 2  # noqa: TID251
        strongest_hz = np.argmax(power[100:]) + 100
        assert strongest_hz == pytest.approx(sections[number]["frequency_hz"], rel=0.003)


def test_bias_alone_wipes_the_calibration_tape() -> None:
    rig = Rig(tracks=2)
    rig.play_section(0)
    assert not rig.deck.truth()["calibration_wiped"]
    rig.deck.transport(state="record", ready=[2])
    rig.send(3.0)
    assert rig.deck.truth()["calibration_wiped"]
    rig.play_section(0)
    rig.send(0.4)
    back = levels_db(rig.send(1.0), 1000.0)
    assert back[0] == pytest.approx(-3.05 + 0.2, abs=0.3)
    assert back[1] < -60.0


def test_play_and_record_without_a_ready_track_wipe_nothing() -> None:
    rig = Rig(tracks=2)
    rig.deck.transport(state="record")
    rig.send(2.0)
    assert not rig.deck.truth()["calibration_wiped"]
    assert levels_db(rig.send(1.0), 1000.0)[0] > -4.0


def test_a_recording_can_be_played_again() -> None:
    rig = Rig(tracks=2)
    rig.record(0.5)
    rig.send(4.0, [(1000.0, -5.0)])
    rig.deck.locate(position_s=1.0)
    rig.wound()
    rig.deck.transport(state="play")
    rig.send(1.0)
    assert levels_db(rig.send(1.0), 1000.0) == pytest.approx([-4.9, -4.9], abs=0.15)
    rig.deck.transport(monitor="sync")
    rig.send(0.2)
    assert levels_db(rig.send(0.6), 1000.0) == pytest.approx([-4.9, -4.9], abs=0.25)


def test_monitor_positions_while_recording() -> None:
    rig = Rig(tracks=2)
    rig.record(0.5)
    rig.deck.transport(ready=[1], monitor="sync")
    back = rig.send(0.5, [(1000.0, -10.0)])
    assert levels_db(back, 1000.0)[0] == pytest.approx(-10.0, abs=0.02)
    assert levels_db(back, 1000.0)[1] < -50.0
    rig.deck.transport(monitor="input", state="stop")
    back = rig.send(0.5, [(1000.0, -10.0)])
    assert levels_db(back, 1000.0) == pytest.approx([-10.0, -10.0], abs=0.02)


def test_stopped_it_is_silent_but_for_hum() -> None:
    rig = Rig(tracks=4)
    back = rig.send(1.0, [(1000.0, 0.0)])
    assert np.all(levels_db(back, 1000.0) < -80.0)
    assert np.all(20.0 * np.log10(back.std(axis=0)) < -75.0)


def test_same_seed_same_hands_same_samples() -> None:
    def run() -> np.ndarray[Any, Any]:
        rig = Rig(right=False, tracks=3, seed=5, stock="bold")
        parts = [rig.send(0.2)]
        rig.record(0.3, [(1000.0, 0.0)])
        rig.deck.turn("bias", -0.5, 2)
        rig.deck.turn("reproduce_azimuth", 0.2)
        parts.append(rig.send(1.0, [(1000.0, 0.0), (10_000.0, -20.0)]))
        rig.deck.locate(position_s=0.2)
        rig.wound()
        rig.deck.transport(state="play")
        parts.append(rig.send(1.0))
        return np.concatenate(parts)

    assert np.array_equal(run(), run())


def test_another_seed_is_another_deck() -> None:
    one = PracticeDeck(tracks=2, seed=1).truth()["residual"]["record_level_db"]
    other = PracticeDeck(tracks=2, seed=2).truth()["residual"]["record_level_db"]
    assert one != other


@pytest.mark.parametrize("tracks", [1, 2, 3, 4, 8, 16, 24])
@pytest.mark.parametrize("stock", sorted(STOCKS))
def test_ideal_settings_leave_nothing(tracks: int, stock: str) -> None:
    deck = PracticeDeck(tracks=tracks, stock=stock)
    deck._set_ideal()
    for name, values in deck.truth()["residual"].items():
        assert np.abs(values).max() < 2e-3, name


def test_residuals_have_the_names_and_shapes_of_the_schema() -> None:
    residual = PracticeDeck(tracks=1).truth()["residual"]
    for name, values in residual.items():
        assert isinstance(values, float if "azimuth" in name else list), name
    assert len(residual) == 10
    assert json.dumps(residual, allow_nan=False)


def test_every_fault_has_a_name() -> None:
    named = [name.replace("N,M", "1,2").replace("N", "1") for name in FAULTS]
    PracticeDeck(tracks=2, faults=named)
