"""What each fault does, seen from outside against the same deck without it."""

import numpy as np
import pytest

from tests.unit.deck.rig import Rig, levels_db

HIGH = [(10_000.0, -20.0)]
LOW = [(1000.0, -5.0)]


def recorded(faults: list[str], tones: list[tuple[float, float]], tracks: int = 4) -> np.ndarray:
    """Levels of own recordings with a fault, re those without; settings of a healthy deck."""
    levels = []
    for named in (faults, []):
        rig = Rig(tracks=tracks)
        values = rig.deck.truth() and rig.deck._works.settings
        broken = Rig(tracks=tracks, faults=named, right=False)
        for kind, bank in broken.deck._works.banks.items():
            bank.set_values(values[kind])
        broken.deck._works.adjust_all()
        broken.record(0.8, tones)
        levels.append(levels_db(broken.send(2.0, tones), tones[0][0]))
    return np.asarray(levels[0] - levels[1])


def test_dirt_costs_short_waves_by_the_spacing_law() -> None:
    """54.6 dB per wavelength (Wallace 1951), 2 um on both heads: 2 × 2.87 dB at 38.1 um."""
    assert recorded(["dirty"], HIGH) == pytest.approx(np.full(4, -2 * 54.575 * 2 / 38.1), abs=0.4)
    assert recorded(["dirty"], LOW) == pytest.approx(np.full(4, -2 * 54.575 * 2 / 381), abs=0.1)


def test_a_worn_head_loses_the_top() -> None:
    """sinc(1.11 g/wavelength) of 8 um against 4 um at 38.1 um."""
    wide, narrow = np.sinc(1.11 * 8 / 38.1), np.sinc(1.11 * 4 / 38.1)
    assert recorded(["worn"], HIGH) == pytest.approx(
        np.full(4, 20 * np.log10(wide / narrow)), abs=0.2
    )


def test_a_bad_card_is_one_track() -> None:
    change = recorded(["card:2"], HIGH)
    assert change[1] < -6.0
    assert np.abs(change[[0, 2, 3]]).max() < 0.2


def test_a_dead_track_gives_nothing() -> None:
    rig = Rig(tracks=3, faults=["dead:3"])
    rig.record(0.5, LOW)
    back = rig.send(0.5, LOW)
    assert not back[:, 2].any()
    assert back[:, 1].any()


def test_polarity_turns_one_track_over() -> None:
    rig = Rig(tracks=2, faults=["polarity:2"])
    rig.deck.transport(monitor="input")
    back = rig.send(0.2, LOW)
    assert np.corrcoef(back.T)[0, 1] == pytest.approx(-1.0, abs=0.001)


def test_crossed_cables_swap_two_tracks() -> None:
    rig = Rig(tracks=3, faults=["crossed:1,3"])
    rig.deck.transport(monitor="input")
    send = np.zeros((480, 3), np.float32)
    send[:, 0] = 0.25
    back = rig.deck.process(send).mean(axis=0)
    assert back == pytest.approx([0.0, 0.0, 0.25], abs=0.001)


def test_hum_is_25_db_up() -> None:
    quiet, loud = (Rig(tracks=2, faults=f).send(1.0).std() for f in ([], ["hum"]))
    assert 20.0 * np.log10(loud / quiet) == pytest.approx(25.0, abs=2.0)


def test_a_slow_capstan_lowers_a_played_tone() -> None:
    """0.8 % and the deck's own 0.15 % at most."""
    rig = Rig(tracks=1, faults=["slow"])
    rig.play_section(0)
    back = rig.send(2.0)[:, 0]
    wave = back * np.exp(-2j * np.pi * 1000.0 * np.arange(len(back)) / 48_000.0)
    low = wave[: len(wave) // 480 * 480].reshape(-1, 480).mean(axis=1)
    slope_hz = np.polyfit(np.arange(len(low)) * 0.01, np.unwrap(np.angle(low)), 1)[0] / (2 * np.pi)
    assert slope_hz == pytest.approx(-8.0, abs=1.6)


@pytest.mark.parametrize(
    ("faults", "low_db", "high_db"), [([], -85, -65), (["weak_erase"], -42, -30)]
)
def test_what_erasing_leaves(faults: list[str], low_db: float, high_db: float) -> None:
    rig = Rig(tracks=1, faults=faults)
    rig.record(0.5)
    rig.send(3.0, [(1000.0, 0.0)])
    rig.deck.locate(position_s=0.0)
    rig.wound()
    rig.deck.transport(state="record")
    rig.send(1.5)
    left_db = levels_db(rig.send(1.0), 1000.0)[0]
    assert low_db < left_db < high_db


def test_more_dropouts() -> None:
    def lowest(faults: list[str]) -> float:
        rig = Rig(tracks=8, faults=faults, seed=2)
        rig.record(0.5, HIGH)
        back = rig.send(10.0, HIGH)
        power = (back[: len(back) // 96 * 96].reshape(-1, 96, 8) ** 2).mean(axis=1)
        return float((power < 0.5 * np.median(power, axis=0)).sum())

    assert lowest(["dropouts"]) > 2 * lowest([]) + 5


def test_a_stuck_switch_gives_the_input() -> None:
    rig = Rig(tracks=1, faults=["monitor_input"])
    rig.record(0.5)
    assert rig.deck.state()["monitor"] == "reproduce"
    back = rig.send(0.08, LOW)
    assert levels_db(back, 1000.0)[0] == pytest.approx(-5.0, abs=0.1)


@pytest.mark.parametrize("name", ["wrong_tape", "wrong_tape:speed"])
def test_the_wrong_calibration_tape(name: str) -> None:
    right, wrong = Rig(tracks=1), Rig(tracks=1, faults=[name])
    assert wrong.deck.state() == right.deck.state()
    for rig in (right, wrong):
        rig.play_section(0)
    if name == "wrong_tape":
        difference = levels_db(wrong.send(1.0), 1000.0) - levels_db(right.send(1.0), 1000.0)
        assert difference[0] == pytest.approx(20.0 * np.log10(320.0 / 250.0), abs=0.02)
    else:
        assert levels_db(wrong.send(1.0), 2000.0)[0] > -5.0


def test_more_contact_noise() -> None:
    def unrest(faults: list[str]) -> float:
        rig = Rig(tracks=4, faults=faults)
        rig.record(0.8, HIGH)
        back = rig.send(8.0, HIGH)
        read = [
            levels_db(back[at : at + 4800], 10_000.0) for at in range(0, len(back) - 4800, 4800)
        ]
        return float(np.std(read, axis=0).mean())

    steady = unrest([])
    assert 0.05 < steady < 0.3  # the trade's 0.1 to 0.3 dB, from memory
    assert unrest(["contact"]) == pytest.approx(2.0 * steady, rel=0.25)


def test_the_bent_stock_has_a_difference_that_rises_with_bias() -> None:
    deck = Rig(tracks=1, faults=["bent"]).deck
    stock = deck._stock
    bias_db = np.arange(-6.0, 2.0, 0.1)
    short = 20 * np.log10(stock.short_level(38.1, bias_db, 9.0))
    long = 20 * np.log10(stock.short_level(381.0, bias_db, 9.0))
    rise = np.diff(short - long)
    assert (rise > 0.0).any()
    assert (rise < 0.0).any()
