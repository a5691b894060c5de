"""Track formats: how many tracks lie where on which tape."""

from dataclasses import dataclass

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.trade._values import Array

MM_PER_MIL = 0.0254


@dataclass(frozen=True, slots=True)
class Format:
    """Equal tracks at equal pitch, centred on the tape; track 1 has the lowest position."""

    name: str
    tracks: int
    tape_width_mm: float
    track_width_mm: float
    pitch_mm: float
    """Centre to centre; 0 for a single track."""
    source: str

    @property
    def positions_mm(self) -> Array:
        """Centre of each track re the centre of the tape, shape (tracks,)."""
        return (np.arange(self.tracks, dtype=np.float64) - (self.tracks - 1) / 2.0) * self.pitch_mm

    @property
    def guard_mm(self) -> float:
        """Unrecorded width between neighbours; 0 for a single track."""
        return self.pitch_mm - self.track_width_mm if self.tracks > 1 else 0.0

    @property
    def outer_width_mm(self) -> float:
        """From the outer edge of the first track to that of the last."""
        return (self.tracks - 1) * self.pitch_mm + self.track_width_mm

    def distance_mm(self, track: int, other_track: int) -> float:
        """Between the centres of two tracks; `MisuseError` for a track that is not there."""
        return abs(self._checked(track) - self._checked(other_track)) * self.pitch_mm

    def free_sides_mm(self, track: int) -> tuple[float, float]:
        """Tape beyond both edges of a track, out to the edges of the tape.

        With a full-width calibration tape all of it carries flux: an upper bound of its fringing.
        """
        centre_mm = self.positions_mm[self._checked(track) - 1]
        beside_mm = (self.tape_width_mm - self.track_width_mm) / 2.0
        return float(beside_mm + centre_mm), float(beside_mm - centre_mm)

    def free_sides_to_mid_guard_mm(self, track: int) -> tuple[float, float]:
        """The same, out to the middle of the guard where there is a neighbour."""
        below_mm, above_mm = self.free_sides_mm(track)
        half_guard_mm = self.guard_mm / 2.0
        return (
            half_guard_mm if track > 1 else below_mm,
            half_guard_mm if track < self.tracks else above_mm,
        )

    def _checked(self, track: int) -> int:
        if not 1 <= track <= self.tracks:
            raise MisuseError(
                f"{self.name} has no track {track}; give a track from 1 to {self.tracks}"
            )
        return track


def _mils(
    name: str, tracks: int, tape_width_mm: float, width_mil: float, pitch_mil: float, source: str
) -> Format:
    width_mm, pitch_mm = width_mil * MM_PER_MIL, pitch_mil * MM_PER_MIL
    return Format(name, tracks, tape_width_mm, width_mm, pitch_mm, source)


_NOTES = "restoration notes (Hess)"

FORMATS = (
    _mils("1/4-inch full track", 1, 6.3, 234, 0, f"{_NOTES}, 1/4 inch"),
    Format("1/4-inch 2-track US", 2, 6.3, 1.905, 4.0, "75 mil: ARSC list 2004; pitch from memory"),
    Format(
        "1/4-inch 2-track US 82 mil", 2, 6.3, 2.083, 4.0, f"82 mil: {_NOTES}; pitch from memory"
    ),
    Format(
        "1/4-inch 2-track European", 2, 6.3, 2.75, 3.5,
        "2.5 to 2.775 mm: ARSC list 2004; pitch from memory",
    ),
    _mils("1/2-inch 2-track", 2, 12.6, 200, 260, f"{_NOTES}, track configurations"),
    _mils("1/2-inch 3-track", 3, 12.6, 100, 185, f"{_NOTES}, 1/2 inch"),
    _mils("1/2-inch 4-track", 4, 12.6, 70, 130, f"{_NOTES}, 1/2 inch"),
    _mils("1-inch 8-track", 8, 25.3, 70, 130, f"{_NOTES}, 2 inch"),
    _mils("2-inch 16-track", 16, 50.7, 70, 127, f"{_NOTES}, 2 inch"),
    Format(
        "2-inch 24-track", 24, 50.7, 1.0, 84 * MM_PER_MIL,
        "from memory (0.94 to 1.1 mm); outer edges agree with 2-inch 16-track",
    ),
)  # fmt: skip
"""Every format that the bench knows."""


def format_named(name: str) -> Format:
    """The format of a name, in any case; `MisuseError` lists the names there are."""
    for known in FORMATS:
        if known.name.casefold() == name.casefold():
            return known
    names = ", ".join(known.name for known in FORMATS)
    raise MisuseError(f"no track format {name!r} is known; use one of: {names}")
