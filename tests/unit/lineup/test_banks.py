"""Fewer channels than tracks: cables are asked for, proved, and every track is lined up."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluxbench.base import Cables, MisuseError
from fluxbench.lineup import Channels, LineUp, cables_from_told, plan_from_state
from fluxbench.lineup._channels import cables_in_words, cables_told
from fluxbench.measure import Hop
from fluxbench.rehearsal._technician import Technician
from fluxbench.signals import PerTrack, Signal, Silence
from tests.decks.figures_deck import FiguresDeck, FiguresRehearsal

counts = st.integers(1, 24)


def channels(inputs: int, outputs: int) -> Channels:
    return Channels(tuple(range(inputs)), tuple(range(outputs)))


@given(tracks=counts, inputs=counts, outputs=counts)
def test_every_track_is_in_one_bank(tracks: int, inputs: int, outputs: int) -> None:
    some = channels(inputs, outputs)
    assert sorted(t for bank in some.banks(tracks) for t in bank) == list(range(tracks))
    for bank in some.banks(tracks):
        cables = some.cables(tracks, bank)
        assert cables.heard == bank
        assert cables_from_told(cables_told(cables)) == cables
        fed = [t for t in cables.sends if t is not None]
        assert cables.mult == 0 or set(bank) <= set(fed)
        assert len(cables.returns) <= inputs
        assert len(cables.sends) <= outputs


@given(tracks=st.integers(2, 24), inputs=st.integers(2, 24))
def test_the_angle_is_read_from_edge_to_edge(tracks: int, inputs: int) -> None:
    across = channels(inputs, inputs).across(tracks)
    assert (across[0], across[-1]) == (0, tracks - 1)
    assert len(set(across)) == len(across) == min(inputs, tracks)


@pytest.mark.parametrize(("inputs", "outputs"), [((), (0,)), ((0, 0), (0,)), ((-1,), (0,))])
def test_channels_that_cannot_be(inputs: tuple[int, ...], outputs: tuple[int, ...]) -> None:
    with pytest.raises(MisuseError):
        Channels(inputs, outputs)


@pytest.mark.parametrize(
    ("some", "bank", "words"),
    [
        (
            channels(8, 8),
            range(8, 16),
            ("tracks 9 to 16 to inputs 1 to 8", "outputs 1 to 8 to the inputs of the same tracks"),
        ),
        (
            channels(2, 1),
            (2, 3),
            ("tracks 3 and 4 to inputs 1 and 2", "output 1 to the inputs of all tracks (a mult)"),
        ),
        (
            Channels((4,), (6,)),
            (11,),
            ("track 12 to input 5", "output 7 to the inputs of the same tracks"),
        ),
    ],
)
def test_what_is_asked_for(some: Channels, bank: Any, words: tuple[str, str]) -> None:
    asked = f"cable the returns of {words[0]}, and {words[1]}"
    assert cables_in_words(some.cables(24, tuple(bank))) == asked


class Patched:
    """A figures deck behind cables that a person plugs; `swap` are two inputs plugged crosswise.

    Nothing comes back of `dead` tracks (from 0).
    """

    def __init__(
        self, deck: FiguresDeck, swap: tuple[int, int] | None, dead: tuple[int, ...]
    ) -> None:
        self.deck, self._swap, self._dead = deck, swap, dead
        self.lineup: LineUp | None = None
        self.plugged: list[Any] = []
        nothing: Any = (None,)
        self._cables = Cables(deck.tracks, nothing, nothing)

    def plug(self, cables: Cables) -> None:
        self.plugged.append(cables_told(cables))
        returns = list(cables.returns)
        if self._swap is not None:
            one, other = self._swap
            returns[one], returns[other] = returns[other], returns[one]
        self._cables = replace(cables, returns=tuple(returns))

    def hop(self, signal: Signal, tones_hz: Any) -> Hop:
        """What comes back, by what the bench believes and by what is plugged."""
        assert self.lineup is not None
        believed: Cables = self.lineup.cables
        each = signal.signals if isinstance(signal, PerTrack) else (signal,) * self.deck.tracks
        into: list[Any] = [Silence()] * self.deck.tracks
        for channel, track in enumerate(self._cables.sends):
            if track is not None:
                said = believed.sends[channel]
                assert said is not None
                into[track] = each[said]
        if self._cables.mult is not None:
            into = [each[0]] * self.deck.tracks
        hop = self.deck.hop(PerTrack(tuple(into)), tones_hz)
        envelope = np.zeros_like(hop.envelope)
        peak, power = np.zeros_like(hop.peak), np.zeros_like(hop.total_power)
        for channel, said in enumerate(believed.returns):
            plugged = self._cables.returns[channel] if channel < len(self._cables.returns) else None
            if said is not None and plugged is not None and plugged not in self._dead:
                envelope[..., said] = hop.envelope[..., plugged]
                peak[said], power[said] = hop.peak[plugged], hop.total_power[plugged]
        return replace(hop, envelope=envelope, peak=peak, total_power=power)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.deck, name)


class BankRehearsal(FiguresRehearsal):
    """A rehearsal of a figures deck behind cables."""

    def __init__(self, deck: Any, some: Channels) -> None:
        super().__init__(deck)
        plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
        self.lineup = deck.lineup = LineUp(replace(plan, channels=some))
        self.technician = Technician(deck, 1, deck.plug)
        self.plugged: list[Any] = deck.plugged


def banked(
    some: Channels,
    swap: tuple[int, int] | None = None,
    dead: tuple[int, ...] = (),
    **deck: Any,
) -> BankRehearsal:
    """A rehearsal behind so many channels."""
    return BankRehearsal(Patched(FiguresDeck(**deck), swap, dead), some)


def test_every_track_is_lined_up() -> None:
    """Two inputs and one output for three tracks; the truth is the figures deck's own."""
    without = ("sync_level", "sync_high", "record_high", "reproduce_low")
    rehearsal = banked(channels(2, 1), tracks=3, seed=2, without=without)
    view = rehearsal.run(3000.0)
    assert (view.closed, view.stopped) == (True, None), view.stopped
    deck = rehearsal.deck
    assert np.abs(deck.returns_db(1000.0)).max() < 0.08
    assert np.abs(deck.over_bias_db() - 2.8).max() < 0.2
    assert np.abs(deck.off["reproduce_level"]).max() < 0.08
    for kind in ("reproduce_azimuth", "record_azimuth"):  # three tracks are a quarter inch: 1'
        assert np.abs(deck.off[kind]).max() < 0.5, kind
    assert not deck.wiped
    left = [entry["bank"] for entry in rehearsal.journal("as left", trimmer="record_level")]
    assert left == [[1, 2], [3]]
    # Input check and safe, calibration tape, stock: two banks each, and twice from edge to edge.
    assert [[t for t in cables["inputs"] if t] for cables in rehearsal.plugged] == [
        [1, 2], [3], [1, 3], [1, 2], [3], [1, 3], [1, 2], [3], [1, 3],
    ]  # fmt: skip


@pytest.mark.parametrize("some", [channels(3, 3), channels(3, 1)])
def test_crossed_cables_are_found(some: Channels) -> None:
    view = banked(some, swap=(0, 2), tracks=4, seed=2).run(200.0)
    assert view.stopped is not None
    assert "return 1 carries track 3, return 3 carries track 1" in view.stopped
    assert view.stage in ("input check", "prepare")


def test_a_bank_of_dead_tracks_is_gone_past_if_the_person_says_so() -> None:
    rehearsal = banked(channels(2, 2), dead=(0, 1), tracks=4, seed=3)
    view = rehearsal.run(60.0)
    assert view.stopped is not None
    assert view.stopped.startswith("nothing comes back")
    rehearsal = banked(channels(2, 2), dead=(0, 1), tracks=4, seed=3)
    rehearsal.lineup.decline = rehearsal.lineup.acknowledge  # type: ignore[method-assign]
    view = rehearsal.run(1000.0, until="sync")
    assert view.stopped is None
    assert not rehearsal.journal("as left", bank=[1, 2])
    assert rehearsal.journal("as left", bank=[3, 4], trimmer="reproduce_level")
    assert "track 1 does not come back; it is left out" in view.notes
    assert np.abs(rehearsal.deck.off["reproduce_level"][2:]).max() < 0.08


def test_it_goes_on_where_it_was_with_the_same_cables() -> None:
    rehearsal = banked(channels(2, 2), tracks=4, seed=2)
    rehearsal.run(2000.0, until="sync")
    lineup = rehearsal.lineup
    again = LineUp(lineup.plan, lineup.steps.fresh, lineup.time_s)
    assert again.cables == lineup.cables
    assert again.cabled
    assert again.live.tolist() == lineup.live.tolist()
