"""Every fault of both modelled decks is said, and no number that it spoils is passed.

What is switched on in the deck is what must be said; the numbers are held against the deck's own
formulas (`truth`), never against the bench.
"""

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from fluxbench.deck import PracticeDeck
from fluxbench.lineup._azimuth import azimuth
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._stages_before import input_check, safe_check
from fluxbench.lineup._stages_record import load_stock
from fluxbench.lineup._stages_reproduce import first_look, know_the_tape, short_waves, sync
from tests.decks.second_deck import SecondDeck
from tests.decks.standing import Standing

RATE_HZ = 48_000


def until_safe(bench: Bench) -> Procedure:
    yield from input_check(bench)
    yield from safe_check(bench)


def heads(bench: Bench) -> Procedure:
    """Both heads on the calibration tape, without the pass over all of it."""
    yield from bench.ask("load", "load the calibration tape", tape="calibration")
    yield from first_look(bench)
    yield from bench.play_section(bench.plan.level_section, "reproduce")
    level = (yield from bench.levels(1.0))[0]
    target = bench.plan.calibration_target_db(bench.plan.level_section)
    yield from short_waves(bench, "reproduce", level - target)


def practice(tracks: int, seed: int, *faults: str, speed_ips: float = 15.0) -> PracticeDeck:
    return PracticeDeck(tracks, speed_ips, seed, RATE_HZ, faults=faults)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_sound_deck_is_not_accused(seed: int) -> None:
    assert Standing(practice(4, seed), until_safe).run(60.0).said == ""
    assert Standing(practice(4, seed), heads).run(90.0).said == ""
    assert Standing(SecondDeck(4, 15.0, seed, RATE_HZ), until_safe).run(60.0).said == ""
    assert Standing(SecondDeck(4, 15.0, seed, RATE_HZ), heads).run(90.0).said == ""


@pytest.mark.parametrize(
    ("faults", "says"),
    [
        (["dead:2"], "track 2 is dead"),
        (["polarity:3"], "track 3 comes back reversed"),
        (["crossed:1,4"], "return 1 carries track 4"),
        (["hum"], "hum on all tracks"),
        (["monitor_input"], "monitor stands on input"),
        (["dead:1", "hum"], "track 1 is dead"),
        (["left_ready:2"], "a track records although all are safe"),
        (["noise_reduction"], "every return falls by 40"),
    ],
)
def test_before_any_tape_it_says(faults: Sequence[str], says: str) -> None:
    assert says in Standing(practice(4, 3, *faults), until_safe).run(60.0, says).said


@pytest.mark.parametrize(
    ("faults", "says"),
    [
        (["slow"], "% slow"),
        (["contact"], "contact with the reproduce head is restless"),
        (["dirty"], "lack short waves together"),
        (["card:2"], "track 2 alone stands"),
        (["wrong_tape"], "as from a tape of"),
        (["polarity:2"], "track 2 comes back reversed in polarity off the tape"),
    ],
)
def test_at_the_calibration_tape_it_says(faults: Sequence[str], says: str) -> None:
    assert says in Standing(practice(4, 1, *faults), heads).run(90.0, says).said


@pytest.mark.parametrize(
    ("fault", "speed_ips", "says"),
    [
        ("wrong_tape:equalisation", 15.0, "it reads as one made to 3180 + 50 us"),
        ("wrong_tape:upside_down", 15.0, "as if it were the wrong way round"),
    ],
)
def test_when_all_of_the_tape_has_played_it_says(fault: str, speed_ips: float, says: str) -> None:
    standing = Standing(practice(6, 3, fault, speed_ips=speed_ips), know_the_tape).run(300.0, says)
    assert says in standing.said
    ask = standing.lineup.view.ask
    assert standing.lineup.view.stopped is not None or (ask is not None and ask.kind == "doubt")


@pytest.mark.parametrize("trusting", [False, True])
def test_a_doubted_tape_ends_the_line_up_unless_a_person_knows_better(trusting: bool) -> None:
    """A deck that was last set for another operating level reads like another tape."""
    standing = Standing(practice(8, 1, "wrong_tape"), first_look_only, trusting).run(60.0)
    stopped = standing.lineup.view.stopped
    assert (stopped is None) == trusting
    assert ("went on in spite" in standing.said) == trusting
    assert "as from a tape of" in standing.said


def test_the_stock_that_keeps_old_tones_is_said() -> None:
    standing = Standing(practice(4, 1, "weak_erase"), load_stock).run(60.0, "erases by 3")
    assert "erases by 3" in standing.said


@pytest.mark.parametrize(
    ("faults", "says"),
    [
        (["dead:2"], "track 2 is dead"),
        (["crossed:1,3"], "return 1 carries track 3"),
        (["monitor_input"], "monitor stands on input"),
    ],
)
def test_of_the_second_deck_it_says(faults: Sequence[str], says: str) -> None:
    deck = SecondDeck(4, 15.0, 3, RATE_HZ, faults)
    assert says in Standing(deck, until_safe).run(60.0, says).said


@pytest.mark.parametrize(
    ("faults", "says"),
    [(["dirty"], "lack short waves together"), (["wrong_tape"], "as from a tape of")],
)
def test_of_the_second_deck_s_heads_it_says(faults: Sequence[str], says: str) -> None:
    deck = SecondDeck(4, 15.0, 3, RATE_HZ, faults)
    assert says in Standing(deck, heads).run(90.0, says).said


# Numbers that a fault could spoil, against the deck's own formulas.


def first_look_only(bench: Bench) -> Procedure:
    yield from bench.ask("load", "load the calibration tape", tape="calibration")
    yield from first_look(bench)


def read_angle(bench: Bench) -> Procedure:
    """First look, then the reproduce azimuth until somebody would have to turn."""
    yield from bench.ask("load", "load the calibration tape", tape="calibration")
    yield from first_look(bench)
    yield from bench.play_section(bench.plan.azimuth_section, "reproduce")
    yield from azimuth(bench, "reproduce_azimuth", 0.0)


@pytest.mark.parametrize("faults", [[], ["polarity:2"], ["dead:2"], ["dead:1", "polarity:3"]])
def test_a_reversed_or_a_dead_track_does_not_turn_the_angle(faults: Sequence[str]) -> None:
    """A reversed track looks like half a wave of delay: the slope of the line went with it."""
    standing = Standing(practice(4, 6, *faults), read_angle).run(26.0)
    found = [e for e in standing.journal("as found") if e["trimmer"] == "reproduce_azimuth"]
    truth = standing.deck.truth()["residual"]["reproduce_azimuth_arcmin"]
    assert found[0]["arcmin"] == pytest.approx(truth, abs=0.5)  # the set band of 1/2 inch


def test_one_live_track_has_no_angle_and_none_is_passed() -> None:
    standing = Standing(practice(2, 1, "dead:1"), read_angle).run(26.0)
    assert "reproduce azimuth is not set" in standing.said
    assert not [e for e in standing.journal("as left") if e["trimmer"] == "reproduce_azimuth"]


class Broken(PracticeDeck):
    """A deck with something wrong at its outputs; samples go through `spoil`."""

    def spoil(self, out: NDArray[np.float32]) -> None:
        """Change what comes back (frames, tracks)."""

    def process(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        out = super().process(send)
        self.spoil(out)
        return out


class DeafHead(Broken):
    """Track 2 gives nothing from one of the heads; its input is heard."""

    head = "reproduce"

    def spoil(self, out: NDArray[np.float32]) -> None:
        state = self.state()
        if state["monitor"] == self.head and state["transport"] != "stop":
            out[:, 1] = 0.0


class DeafSyncHead(DeafHead):
    head = "sync"


class Overdriven(Broken):
    """Track 3, or all of them, come back far too hot for the interface."""

    tracks_over: tuple[int, ...] = (2,)

    def spoil(self, out: NDArray[np.float32]) -> None:
        over = list(self.tracks_over)
        out[:, over] = np.clip(20.0 * out[:, over], -1.0, 1.0)


class AllOverdriven(Overdriven):
    tracks_over = (0, 1, 2, 3)


def test_a_track_whose_head_is_deaf_is_left_out() -> None:
    standing = Standing(DeafHead(4, 15.0, 1, RATE_HZ), read_angle).run(26.0)
    assert "track 2 gives nothing on the reproduce head" in standing.said
    assert standing.lineup.live.tolist() == [True, False, True, True]
    found = [e for e in standing.journal("as found") if e["trimmer"] == "reproduce_azimuth"]
    truth = standing.deck.truth()["residual"]["reproduce_azimuth_arcmin"]
    assert found[0]["arcmin"] == pytest.approx(truth, abs=0.5)


def test_a_track_that_is_deaf_in_sync_only_is_left_out_there_only() -> None:
    standing = Standing(DeafSyncHead(4, 15.0, 1, RATE_HZ), sync).run(22.0)
    assert "track 2 gives nothing on the sync head" in standing.said
    assert standing.lineup.live.tolist() == [True, False, True, True]
    found = next(e for e in standing.journal("as found") if e["trimmer"] == "sync_high")
    assert [reading is None for reading in found["reading_db"]] == [False, True, False, False]
    standing.lineup.leave(None, "enough")
    assert standing.lineup.live.all()


def test_a_return_that_clips_is_said_and_not_called_dead() -> None:
    said = Standing(Overdriven(4, 15.0, 1, RATE_HZ), until_safe).run(60.0).said
    assert "track 3 clips at the interface" in said
    assert "dead" not in said
    standing = Standing(AllOverdriven(4, 15.0, 1, RATE_HZ), until_safe).run(60.0)
    assert "every return clips" in (standing.lineup.view.stopped or "")
