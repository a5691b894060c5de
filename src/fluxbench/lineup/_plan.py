"""What a line-up sets out to do: the deck, both tapes, and from them the target of every tone."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Cables, MisuseError
from fluxbench.lineup._channels import Channels
from fluxbench.trade import (
    Array,
    Equalisation,
    Format,
    Tolerances,
    Values,
    azimuth_frequency_hz,
    azimuth_tolerance,
    fluxivity_ratio_db,
    fringing_rise_db,
    head_delay_ms,
    high_trim_coupling,
    pitch,
    speed_mm_per_s,
)

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Section:
    """One tone of a calibration tape; `level_db` is re the tape's fluxivity."""

    number: int
    frequency_hz: float
    level_db: float
    seconds: float
    track_db: tuple[float, ...] = ()
    """On each track so much more; empty where all are alike."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that is known before the first tone: read from the deck's plate and two sheets."""

    tracks: int
    speed_ips: float
    equalisation: Equalisation
    pitch_mm: float
    width_mm: float
    tape_width_mm: float
    head_spacing_mm: float
    record_gap_um: float
    zero_dbfs: float
    """The level of 0 VU at the interface."""
    operating_nwb_per_m: float
    calibration_nwb_per_m: float
    reference_hz: float
    full_width: bool
    fringing_compensated: str
    sections: tuple[Section, ...]
    over_bias_db: float
    over_bias_hz: float
    over_bias_level_db: float
    trimmers: frozenset[str]
    """Those that the line-up sets."""
    master_bias: bool = False
    """One bias trimmer moves all tracks."""
    remarks: tuple[str, ...] = ()
    """What is to be said of deck and sheets before anything begins."""
    tolerances: Tolerances = field(default_factory=Tolerances)
    one_tone: bool = False
    """Bias by the short wave alone, on wish."""
    tape: str = "calibration"
    """What the deck calls the tape whose sections are played."""
    channels: Channels | None = None
    """What there is of an interface with fewer channels than tracks, or another order."""

    unused: frozenset[int] = frozenset()
    """Tracks (from 0) that the line-up leaves alone: not used, or known to be dead."""

    @property
    def banks(self) -> list[tuple[int, ...]]:
        """The tracks (from 0) that are cabled together, bank after bank."""
        every = tuple(range(self.tracks))
        return [every] if self.channels is None else self.channels.banks(self.tracks)

    @property
    def cables(self) -> Cables:
        """How the first bank is cabled."""
        return self.cables_to(self.banks[0])

    def cables_to(self, tracks: Sequence[int]) -> Cables:
        """How some tracks (from 0) are cabled to the interface."""
        if self.channels is None:
            return Cables.straight(self.tracks)
        return self.channels.cables(self.tracks, tracks)

    @property
    def tape_told(self) -> str:
        """The tape whose sections are played, in words."""
        return "the calibration tape" if self.tape == "calibration" else "the reel"

    @property
    def _format(self) -> Format:
        return Format(
            "this deck", self.tracks, self.tape_width_mm, self.width_mm, self.pitch_mm, "its plate"
        )

    @property
    def positions_mm(self) -> F64:
        """Track centres re the middle of the stack."""
        return self._format.positions_mm

    @property
    def head_delay_s(self) -> float:
        return float(head_delay_ms(self.head_spacing_mm, self.speed_ips)) / 1000.0

    @property
    def azimuth_tolerance_arcmin(self) -> float:
        return azimuth_tolerance(self.tape_width_mm).set_arcmin

    def fringing_db(self, frequency_hz: float) -> F64:
        """How much high each track reads a full-width tape, shape (tracks,)."""
        if not self.full_width or self.fringing_compensated != "no":
            return np.zeros(self.tracks)
        return self.full_width_rise_db(frequency_hz)

    def full_width_rise_db(self, frequency_hz: float) -> F64:
        """How much high each track reads a full-width tape that is not compensated, (tracks,)."""
        sides = [self._format.free_sides_to_mid_guard_mm(t + 1) for t in range(self.tracks)]
        first, second = np.maximum(np.array(sides).T, 0.0)
        return np.asarray(
            fringing_rise_db(frequency_hz, self.speed_ips, self.width_mm, first, second)
        )

    def calibration_target_db(self, section: Section) -> F64:
        """What each track should read on a section, dB re 0 VU, shape (tracks,)."""
        ratio = fluxivity_ratio_db(self.calibration_nwb_per_m, self.operating_nwb_per_m)
        target_db = ratio + section.level_db + self.fringing_db(section.frequency_hz)
        return target_db + np.array(section.track_db) if section.track_db else target_db

    def reads_db(self, recorded: Equalisation, frequency_hz: Values) -> Array:
        """What tones recorded to an equalisation read on this deck, re the tape's level tone."""
        at_hz = self.level_section.frequency_hz
        flux_db = recorded.flux_re_db(frequency_hz, at_hz)
        return flux_db - self.equalisation.flux_re_db(frequency_hz, at_hz)

    def section_for(self, frequency_hz: float) -> Section | None:
        """The longest section within 1 % of a frequency, if the tape has one."""
        fits = [s for s in self.sections if abs(s.frequency_hz / frequency_hz - 1.0) < 0.01]
        return max(fits, key=lambda s: (s.seconds, -s.number), default=None)

    @property
    def level_section(self) -> Section:
        section = self.section_for(self.reference_hz)
        if section is None:
            raise MisuseError(
                f"the tape's sheet lists no section at its reference {pitch(self.reference_hz)}"
            )
        return section

    @property
    def high_section(self) -> Section:
        """The section nearest to 10 kHz, from 8 to 12.5 kHz."""
        fits = [s for s in self.sections if 7900.0 <= s.frequency_hz <= 12600.0]
        if not fits:
            raise MisuseError("the calibration tape's sheet lists no section near 10 kHz")
        return min(fits, key=lambda s: (abs(np.log(s.frequency_hz / 10_000.0)), -s.seconds))

    @property
    def azimuth_section(self) -> Section:
        """A long section whose neighbours stay within half a turn at 10 arc-minutes."""
        wanted = azimuth_frequency_hz(self.speed_ips)
        skew_mm = max(self.pitch_mm, 0.1) * np.tan(np.radians(10.0 / 60.0))
        highest = min(1.3 * 10_000.0, 0.4 * speed_mm_per_s(self.speed_ips) / skew_mm)
        fits = [s for s in self.sections if 0.45 * wanted <= s.frequency_hz <= highest]
        if not fits:
            return self.high_section
        return min(fits, key=lambda s: (-s.seconds, abs(np.log(s.frequency_hz / wanted))))

    def high_coupling(self, frequency_hz: float) -> float:
        """How much 1 kHz moves per dB of this frequency when a time constant is turned."""
        return float(high_trim_coupling(self.equalisation, frequency_hz, self.reference_hz))
