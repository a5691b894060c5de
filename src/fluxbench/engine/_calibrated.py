"""What full scale of an interface's channels is in dBu, from a meter on its outputs and cables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fluxbench.engine._loop_back import Cable


@dataclass(frozen=True, slots=True)
class CalibratedChannel:
    """A channel, from 1, and the level in dBu that is full scale there; a sine's peak is meant."""

    channel: int
    side: Literal["in", "out"]
    full_scale_dbu: float
    error_db: float
    """Standard error of what was measured here; the meter's own comes on top."""


def calibrated_outputs(
    read_dbu: Mapping[int, float], sent_dbfs: float
) -> tuple[CalibratedChannel, ...]:
    """Outputs (from 1) from what a meter reads there while a tone of `sent_dbfs` is sent."""
    return tuple(
        CalibratedChannel(output, "out", level_dbu - sent_dbfs, 0.0)
        for output, level_dbu in sorted(read_dbu.items())
    )


def calibrated_inputs(
    outputs: Sequence[CalibratedChannel], cables: Sequence[Cable]
) -> tuple[CalibratedChannel, ...]:
    """Inputs that are cabled to calibrated outputs: what leaves one in dBu arrives at the other.

    An input that reads a digital gain of g dB has its full scale g dB below its output's. Cables
    without a valid gain, and inputs with none, are left out.
    """
    known = {one.channel: one.full_scale_dbu for one in outputs}
    return tuple(
        CalibratedChannel(
            cable.input, "in", known[cable.output] - cable.gain_db, cable.gain_error_db or 0.0
        )
        for cable in sorted(cables, key=lambda cable: cable.input)
        if cable.output in known and cable.gain_db is not None
    )
