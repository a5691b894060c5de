"""Errors, sample blocks and validity: what every other package may use."""

from fluxbench.base._block import Block, Flag, Validity
from fluxbench.base._cables import Cables
from fluxbench.base._errors import (
    BookError,
    CaptureError,
    ChannelsError,
    ConflictError,
    CrewError,
    DeckError,
    DeviceLostError,
    FluxbenchError,
    LinkError,
    MisuseError,
    NoServerError,
    SignalError,
)

__all__ = [
    "Block",
    "BookError",
    "Cables",
    "CaptureError",
    "ChannelsError",
    "ConflictError",
    "CrewError",
    "DeckError",
    "DeviceLostError",
    "Flag",
    "FluxbenchError",
    "LinkError",
    "MisuseError",
    "NoServerError",
    "SignalError",
    "Validity",
]
