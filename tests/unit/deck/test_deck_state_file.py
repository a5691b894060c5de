"""The deck's own state file."""

from pathlib import Path

import pytest

from fluxbench.base import MisuseError
from fluxbench.deck import PracticeDeck
from tests.unit.deck.rig import Rig, levels_db


def test_a_deck_comes_back_as_it_was_left(tmp_path: Path) -> None:
    rig = Rig(right=False, tracks=2, seed=4, stock="fine", faults=["hum"])
    rig.play_section(0)
    rig.deck.transport(state="record", ready=[2])
    rig.send(2.0)
    rig.deck.turn("bias", 1.2, 1)
    rig.send(2.0)
    rig.deck.transport(state="stop")
    rig.deck.save(tmp_path / "deck.json")
    again = PracticeDeck.restore(tmp_path / "deck.json")
    assert again.truth() == rig.deck.truth()
    assert again.state() == {**rig.deck.state(), "monitor": "reproduce", "ready": []}
    assert list(tmp_path.iterdir()) == [tmp_path / "deck.json"]


def test_a_wiped_tape_stays_wiped(tmp_path: Path) -> None:
    rig = Rig(tracks=2)
    rig.play_section(0)
    rig.deck.transport(state="record", ready=[2])
    rig.send(3.0)
    rig.deck.save(tmp_path / "deck.json")
    other = Rig(tracks=2)
    other.deck = PracticeDeck.restore(tmp_path / "deck.json")
    other.play_section(0)
    other.send(0.6)
    back = levels_db(other.send(1.0), 1000.0)
    assert back[0] > -4.0
    assert back[1] < -60.0


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"made_as": {"tracks": 99}}', '{"made_as": 1}']
)
def test_another_file_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "deck.json"
    path.write_text(content)
    with pytest.raises(MisuseError) as refused:
        PracticeDeck.restore(path)
    assert "\n" not in str(refused.value)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MisuseError):
        PracticeDeck.restore(tmp_path / "none.json")
