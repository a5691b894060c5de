"""A calibration tape that is being wiped, or was: the line-up shouts, and uses no wiped part."""

import numpy as np

from fluxbench.deck import PracticeDeck
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._plan import Section
from fluxbench.lineup._sections import calibration_pass
from fluxbench.lineup._stages_reproduce import leave_out_wiped
from fluxbench.lineup._vanished import GONE_POINTS, KNOWN_POINTS, Vanishing, wiped_parts
from tests.decks.standing import Standing

TRACKS = 4
LIVE = np.ones(TRACKS, bool)


def test_a_track_that_falls_silent_alone_has_vanished() -> None:
    seen = Vanishing(TRACKS)
    level_db = np.array([-3.0, -2.0, -4.0, -3.5])
    assert [seen.see(level_db, LIVE) for _ in range(KNOWN_POINTS + 5)] == [None] * 13
    wiped = level_db - np.array([0.0, 0.0, 60.0, 0.0])
    said = [seen.see(wiped, LIVE) for _ in range(GONE_POINTS)]
    assert said == [None] * (GONE_POINTS - 1) + [2]


def test_neither_a_drop_out_nor_the_end_of_a_section_is_one() -> None:
    seen = Vanishing(TRACKS)
    level_db = np.zeros(TRACKS)
    for _ in range(20):
        assert seen.see(level_db, LIVE) is None
    for _ in range(GONE_POINTS - 1):  # a deep drop-out of 0.4 s
        assert seen.see(level_db - np.array([0.0, 40.0, 0.0, 0.0]), LIVE) is None
    for _ in range(20):
        assert seen.see(level_db, LIVE) is None
    for _ in range(20):
        assert seen.see(level_db - 70.0, LIVE) is None


def test_what_is_wiped_is_told_from_what_is_dead_and_what_is_weak() -> None:
    sections = [Section(i, 1000.0 * (i + 1), 0.0, 8.0) for i in range(5)]
    level_db = {s.number: np.array([0.0, -1.0, -70.0, 0.5]) for s in sections}  # track 3 is dead
    level_db[3] = np.array([0.0, -75.0, -70.0, -20.0])  # and track 4 has a bad card there
    assert wiped_parts(level_db, sections, LIVE) == [(sections[3], 1)]


def playing(bench: Bench) -> Procedure:
    """The first pass of the calibration tape, and what it says of the tape."""
    leave_out_wiped(bench, (yield from calibration_pass(bench, "reproduce")))


def test_a_part_that_somebody_wiped_is_found_and_its_track_left_out() -> None:
    """The deck recorded 3 s of nothing on track 2, within the first section: 1 kHz."""
    deck = PracticeDeck(TRACKS, 15.0, 2)
    deck.load("calibration")
    deck.transport(state="record", ready=[2], monitor="reproduce")
    run_s(deck, 40.0)
    deck.transport(state="stop", ready=[])
    standing = Standing(deck, playing, sections=8).run(300.0)
    assert "the calibration tape is wiped at 1 kHz (section 0) on track 2" in standing.said
    assert "track 2 cannot be set by this tape" in standing.said
    assert standing.lineup.live.tolist() == [True, False, True, True]


def test_a_track_that_records_while_the_tape_plays_stops_everything() -> None:
    deck = PracticeDeck(TRACKS, 15.0, 2)
    standing = Standing(deck, playing, sections=8)
    while deck.state()["section"] != 5:
        standing.run(0.5)
    standing.run(2.0)
    deck.transport(state="record", ready=[3])  # the wrong button
    for _ in range(40):
        standing.run(0.1)
        if "vanished" in standing.said:
            break
    assert "track 3 has vanished from the calibration tape while it played" in standing.said
    assert deck.state()["ready"] == []
    assert not standing.lineup.live[2]
    standing.run(25.0)
    assert standing.lineup.view.stopped is None  # and it goes on without that track
    assert deck.state()["transport"] == "play"
    assert deck.state()["section"] >= 6


def run_s(deck: PracticeDeck, seconds: float) -> None:
    block = np.zeros((4800, TRACKS), np.float32)
    for _ in range(round(10 * seconds)):
        deck.process(block)
