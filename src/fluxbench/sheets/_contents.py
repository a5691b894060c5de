"""What stands on a sheet, before it is set: plain facts, None for whatever was not read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fluxbench.lineup import Plan
from fluxbench.trade import LevelTolerance

Readings = tuple[float | None, ...]


class Standing(StrEnum):
    """Where a value as left stands against the tolerances."""

    SET = "in"
    ACCEPTED = "accepted"
    OUT = "out"
    NOT_READ = "not read"

    @classmethod
    def of(cls, off: float | None, set_band: float, accept_band: float) -> "Standing":
        """The standing of a deviation; all three in the same unit."""
        if off is None:
            return cls.NOT_READ
        if abs(off) <= set_band:
            return cls.SET
        return cls.ACCEPTED if abs(off) <= accept_band else cls.OUT


@dataclass(frozen=True, slots=True)
class Column:
    """One trimmer of every track: (tracks,) each, in dB.

    Targets are dB re 0 VU, of bias the over-bias. Found and left are deviations from them, except
    of bias as found, where only the fall below the peak is known, on either side of it.
    """

    trimmer: str
    band: LevelTolerance
    target_db: Readings
    found_db: Readings
    left_db: Readings
    error_db: Readings
    """Standard error of the reading as left, of bias of its peak."""
    peak_db: Readings = ()

    def standing(self, track: int) -> Standing:
        """Where a track (from 0) was left."""
        return Standing.of(self.left_db[track], self.band.set_db, self.band.accept_db)


@dataclass(frozen=True, slots=True)
class StackAngle:
    """The azimuth of a head, in arc-minutes to the calibration tape."""

    trimmer: str
    target_arcmin: float | None
    found_arcmin: float | None
    left_arcmin: float | None
    error_arcmin: float | None
    set_arcmin: float
    accept_arcmin: float
    left_deg: float | None
    """Phase between the outer tracks at `phase_hz`, of what is left to the target."""
    phase_hz: float
    scatter_us: Readings
    """What the delay of each track lies beside the head's line, as left; (tracks,) or empty."""
    by_output: bool = False
    """Set by the greatest output of one track: no angle is read, and the error alone stands."""

    @property
    def off_arcmin(self) -> float | None:
        """What is left to the target."""
        if self.left_arcmin is None or self.target_arcmin is None:
            return None
        return self.left_arcmin - self.target_arcmin

    @property
    def standing(self) -> Standing:
        """Where the head was left."""
        if self.by_output:
            return Standing.of(self.error_arcmin, self.set_arcmin, self.accept_arcmin)
        return Standing.of(self.off_arcmin, self.set_arcmin, self.accept_arcmin)


@dataclass(frozen=True, slots=True)
class Response:
    """Levels of all tracks by frequency: (frequencies, tracks), dB off what they should be."""

    title: str
    frequencies_hz: tuple[float, ...]
    off_db: tuple[Readings, ...]


@dataclass(frozen=True, slots=True)
class VerifiedRow:
    """One reading of a verification on all tracks, (tracks,) each; see `lineup.Verification`."""

    of: str
    name: str
    unit: str
    limit: float
    within: bool
    value: Readings
    margin_db: Readings
    hidden_below: Readings
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class Verified:
    """The newest verification since the line-up: when, what it said, the rows with a limit."""

    at: str
    words: str
    rows: tuple[VerifiedRow, ...]


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """What is known of the absolute level, as one standard deviation; None is not calibrated."""

    tape_db: float | None
    interface_db: float | None


@dataclass(frozen=True, slots=True)
class Contents:
    """Everything on the sheet of one line-up."""

    lineup: str
    begun_at: str
    last_at: str
    closed: bool
    stopped: str | None
    deck_name: str
    stock_name: str
    tape_name: str
    plan: Plan
    deck: Mapping[str, Any]
    """What the deck shows, as the line-up was begun with it."""
    stock: Mapping[str, Any]
    """The stock's data sheet."""
    calibration: Mapping[str, Any]
    """The calibration tape's."""
    instruments: tuple[tuple[str, str], ...]
    """With what it was measured: what, and what is known of it."""
    columns: tuple[Column, ...]
    angles: tuple[StackAngle, ...]
    responses: tuple[Response, ...]
    stages: Sequence[Mapping[str, Any]]
    notes: tuple[str, ...]
    conditions: tuple[tuple[str, str], ...]
    """What was seen of deck and tapes beside the trimmers: its name, and what was read."""
    interruptions: tuple[str, ...]
    checks: tuple[tuple[str, str], ...]
    """Five-minute checks against this line-up: when, and what they said."""
    verified: Verified | None
    tones: str
    """The line-up tones printed since, in words; empty if none were."""
    uncertainty: Uncertainty

    @property
    def worst(self) -> list[tuple[float, Column, int]]:
        """What was left off its target, farthest first, by parts of what is accepted."""
        far = [
            (abs(off) / column.band.accept_db, column, track)
            for column in self.columns
            for track, off in enumerate(column.left_db)
            if off is not None
        ]
        return sorted(far, key=lambda entry: (-entry[0], entry[1].trimmer, entry[2]))

    def tracks_at(self, standing: Standing) -> list[int]:
        """Tracks (from 1) of which something was left so."""
        tracks = range(self.plan.tracks)
        return [t + 1 for t in tracks if any(c.standing(t) is standing for c in self.columns)]
