"""One deck as it stands there: its format, its heads, and how far its tracks differ."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.deck._faults import Faults
from fluxbench.trade import FORMATS, Equalisation, Format, format_named, standard_for

F64 = NDArray[np.float64]

OPERATING_NWB_PER_M = 355.0
RECORD_GAP_UM = 9.0
REPRODUCE_GAP_UM = 4.0
WIDEST_SIGMA = 2.2
ZERO_VU_DBU = 4.0
FULL_SCALE_DBU = 20.0
ZERO_VU_DBFS = ZERO_VU_DBU - FULL_SCALE_DBU

_FORMATS = {
    1: "1/4-inch full track",
    2: "1/4-inch 2-track European",
    4: "1/2-inch 4-track",
    8: "1-inch 8-track",
    16: "2-inch 16-track",
    24: "2-inch 24-track",
}


@dataclass(frozen=True, slots=True)
class Head:
    """A head as a reproducer. Arrays are per track."""

    name: str
    gap_um: float
    made_gap_um: float
    """The gap that it left the works with, for which its amplifier makes up."""
    pole_mm: float
    efficiency_db: F64
    scatter_um: F64
    """How far the gap of each track stands from a straight line, along the tape."""
    away_um: F64 | float = 0.0
    """How much farther than usual the tape runs from it: worn out of shape, or dirty."""


@dataclass(frozen=True, slots=True)
class Machine:
    """What a deck is made of and what no trimmer changes."""

    rate_hz: int
    speed_ips: float
    layout: Format
    equalisation: Equalisation
    faults: Faults
    reproduce: Head
    sync: Head
    """The record head as a reproducer; its scatter is also that of the recording."""
    record_efficiency_db: F64
    bias_efficiency_db: F64
    speed_error_ratio: float
    record_gap_um: float = RECORD_GAP_UM
    head_spacing_mm: float = 45.0

    @property
    def tracks(self) -> int:
        return self.layout.tracks

    @property
    def speed_um_per_s(self) -> float:
        return 25_400.0 * self.speed_ips

    @property
    def head_delay_s(self) -> float:
        return 1000.0 * self.head_spacing_mm / self.speed_um_per_s

    @property
    def contact_ratio(self) -> float:
        """How much more than usual the contact fluctuates."""
        faults = self.faults
        return (2.0 if faults.dirty or faults.contact else 1.0) * (1.5 if faults.worn else 1.0)

    @property
    def dirt_um(self) -> float:
        """Spacing by dirt on both heads."""
        return 2.0 if self.faults.dirty else 0.0

    def clean(self) -> "Machine":
        """The same deck on the day of its last line-up, before anything went wrong."""
        head = replace(self.reproduce, gap_um=self.reproduce.made_gap_um)
        return replace(self, faults=Faults(), reproduce=head)

    def with_cards(self, cards: NDArray[np.int_]) -> "Machine":
        """The same deck with other cards in its places: which one (from 0) each place holds."""
        bad = np.isin(cards + 1, self.faults.card)
        places = tuple(int(place) + 1 for place in np.flatnonzero(bad))
        return replace(self, faults=replace(self.faults, card=places))

    def with_leads(self, leads: NDArray[np.int_]) -> "Machine":
        """The same deck with leads of the reproduce head swapped, all tracks carrying the same."""
        head = self.reproduce
        away_um = np.broadcast_to(head.away_um, (self.tracks,))[leads]
        efficiency_db, scatter_um = head.efficiency_db[leads], head.scatter_um[leads]
        head = replace(head, efficiency_db=efficiency_db, scatter_um=scatter_um, away_um=away_um)
        return replace(self, reproduce=head)

    def at_speed(self, speed_ips: float) -> "Machine":
        """The same deck at another speed."""
        return replace(self, speed_ips=speed_ips, equalisation=standard_for(speed_ips))

    @property
    def nominal(self) -> Head:
        """The reproduce head as drawn, with no scatter."""
        flat = np.zeros(self.tracks)
        return replace(self.reproduce, efficiency_db=flat, scatter_um=flat)


def cut_normal(rng: np.random.Generator, size: int) -> F64:
    """Normal numbers, drawn again where they are beyond 2.2 sigma."""
    drawn = rng.standard_normal(size)
    while (wide := np.abs(drawn) > WIDEST_SIGMA).any():
        drawn[wide] = rng.standard_normal(int(wide.sum()))
    return drawn


def layout_for(tracks: int) -> Format:
    """The format of that many tracks; unusual counts lie at the pitch of 24 tracks on 2 inch."""
    if not 1 <= tracks <= 24:
        raise MisuseError(f"a practice deck has 1 to 24 tracks, not {tracks}")
    if tracks in _FORMATS:
        return format_named(_FORMATS[tracks])
    usual = FORMATS[-1]
    return replace(usual, name=f"2-inch, {tracks} tracks", tracks=tracks)


def build_machine(tracks: int, speed_ips: float, rate_hz: int, rng: np.random.Generator) -> Machine:
    """One of all the possible decks, with nothing wrong."""
    return build(tracks, speed_ips, rate_hz, Faults(), rng)


def build(
    tracks: int, speed_ips: float, rate_hz: int, faults: Faults, rng: np.random.Generator
) -> Machine:
    """Draw one of all the possible decks."""
    if not 8000 <= rate_hz <= 384_000:
        raise MisuseError(f"a practice deck cannot run at {rate_hz} Hz; use 44100 to 192000 Hz")
    layout = layout_for(tracks)
    across_mm = layout.positions_mm
    scatter_um = [_off_line(0.75 * cut_normal(rng, tracks), across_mm) for _ in range(2)]
    pole_mm = 2.68
    reproduce = Head(
        name="reproduce",
        gap_um=2.0 * REPRODUCE_GAP_UM if faults.worn else REPRODUCE_GAP_UM,
        made_gap_um=REPRODUCE_GAP_UM,
        pole_mm=pole_mm,
        efficiency_db=rng.uniform(-1.5, 1.5, tracks),
        scatter_um=scatter_um[0],
    )
    sync = Head(
        name="sync",
        gap_um=RECORD_GAP_UM,
        made_gap_um=RECORD_GAP_UM,
        pole_mm=1.2 * pole_mm,
        efficiency_db=rng.uniform(-1.5, 1.5, tracks),
        scatter_um=scatter_um[1],
    )
    error = 0.0005 * float(cut_normal(rng, 1)[0])
    return Machine(
        rate_hz=rate_hz,
        speed_ips=speed_ips,
        layout=layout,
        equalisation=standard_for(speed_ips),
        faults=faults,
        reproduce=reproduce,
        sync=sync,
        record_efficiency_db=rng.uniform(-1.0, 1.0, tracks),
        bias_efficiency_db=rng.uniform(-1.0, 1.0, tracks),
        speed_error_ratio=error - (0.008 if faults.slow else 0.0),
    )


def _off_line(places_um: F64, across_mm: F64) -> F64:
    """What is left of the gaps' places beside the line that azimuth means."""
    if len(places_um) < 3:
        return np.zeros(len(places_um))
    return np.asarray(places_um - np.polyval(np.polyfit(across_mm, places_um, 1), across_mm))
