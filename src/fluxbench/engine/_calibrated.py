"""What full scale of an interface's channels is in dBu, from a meter on its outputs and cables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fluxbench.base import MisuseError
from fluxbench.engine._loop_back import Cable
from fluxbench.trade import dbu_from_dbv, dbu_from_volts

LEAST_DBU, MOST_DBU = -60.0, 36.0
"""What an interface may give or take; anything else is a slip of the unit. Our choice."""


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


def level_dbu(word: str) -> float:
    """A meter's reading in dBu: a number with dBu (or nothing), dBV, V or mV; MisuseError."""
    text = word.strip().lower()
    unit = next((u for u in ("dbu", "dbv", "mv", "v") if text.endswith(u)), "")
    try:
        number = float(text.removesuffix(unit))
        if unit in ("v", "mv"):
            found = float(dbu_from_volts(abs(number) / (1000.0 if unit == "mv" else 1.0)))
        else:
            found = float(dbu_from_dbv(number)) if unit == "dbv" else number
    except (ValueError, MisuseError):
        raise MisuseError(f"{word!r} is no level; type one such as 4.02 dBu or 1.23 V") from None
    if not LEAST_DBU <= found <= MOST_DBU:
        raise MisuseError(f"{word!r} cannot be what an interface gives; look at unit and cable")
    return found
