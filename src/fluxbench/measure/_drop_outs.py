"""Short weak places of a tone: where, how long and how deep."""

from dataclasses import dataclass

from fluxbench.measure._spectrum import Samples


@dataclass(frozen=True, slots=True)
class DropOut:
    """One weak place on one track; the length is the time below half the depth in dB."""

    start_s: float
    length_ms: float
    depth_db: float


def drop_outs(
    samples: Samples, rate_hz: float, frequency_hz: float
) -> tuple[tuple[DropOut, ...], ...]:
    """Find the drop-outs of every track, in order of time."""
    raise NotImplementedError
