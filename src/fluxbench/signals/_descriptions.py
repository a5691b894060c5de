"""What can be sent, as plain descriptions: frequencies, levels, phases; no samples, no rate."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Silence:
    """Nothing at all: every sample is zero."""


@dataclass(frozen=True, slots=True)
class Tone:
    """One sine; a level of 0 dBFS has its peak at full scale."""

    frequency_hz: float
    level_dbfs: float


@dataclass(frozen=True, slots=True)
class Tones:
    """Several sines at once, such as a bias tone and its companion."""

    tones: tuple[Tone, ...]


@dataclass(frozen=True, slots=True)
class Multitone:
    """Many sines of one level, sin(2 pi f t + phase); made by `crest_optimised_multitone`."""

    frequencies_hz: tuple[float, ...]
    level_dbfs_each: float
    phases_rad: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Sweep:
    """One sine whose frequency grows (or falls) by equal ratios in equal times, then silence.

    It starts with the frame at which it is sent.
    """

    start_hz: float
    stop_hz: float
    duration_s: float
    level_dbfs: float


TrackSignal = Silence | Tone | Tones | Multitone | Sweep


@dataclass(frozen=True, slots=True)
class PerTrack:
    """A signal of its own for every track, track 1 first."""

    signals: tuple[TrackSignal, ...]


Signal = TrackSignal | PerTrack
