"""One output for all tracks: long waves that cross over in step do not count as a track's own.

The interface takes all tracks, so that the cables are asked for once, and stand for all of it.
"""

import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import _low, _stages_record
from fluxbench.links import DeckLink
from fluxbench.rehearsal import rehearse_guided

SET_DB = 0.25


def furthest_off_db() -> float:
    """What is left of the low end of three tracks when it has been set, on the worst of them."""
    deck = PracticeDeck(tracks=3, seed=4)
    deck._set_ideal()
    for track, turns in ((1, 0.8), (2, -0.6), (3, 0.5)):
        deck.turn("reproduce_low", turns, track=track)
    part = {"kind": "part", "stages": ["low end"]}
    done = rehearse_guided(DeckLink(deck), deck, 1, begin=part, channels=(3, 1))
    assert done.stopped is None
    left = {
        track: reading_db
        for entry in done.journal
        if entry["what"] == "as left"
        for track, reading_db in enumerate(entry["reading_db"], start=1)
        if track in entry.get("bank", (1, 2, 3))
    }
    assert sorted(left) == [1, 2, 3]
    assert all(reading_db is not None for reading_db in left.values())
    return max(map(abs, deck.truth()["residual"]["low_end_db"]))


def test_every_other_track_is_recorded_alone() -> None:
    assert furthest_off_db() < SET_DB


def test_all_at_once_would_leave_it_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """The planted bug: what the neighbours add is real."""
    monkeypatch.setattr(_stages_record, "low_end", _low._turn)
    assert furthest_off_db() > SET_DB
