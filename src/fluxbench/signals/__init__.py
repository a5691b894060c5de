"""What is sent: descriptions of signals, and the generator that sends them without a click."""

from fluxbench.signals._descriptions import (
    Multitone,
    PerTrack,
    Signal,
    Silence,
    Sweep,
    Tone,
    Tones,
    TrackSignal,
)
from fluxbench.signals._multitone import crest_factor, crest_optimised_multitone
from fluxbench.signals._passages import (
    PAUSE_S,
    PIP_EVERY_S,
    PIP_S,
    Passage,
    PassageSender,
    line_up_passages,
)
from fluxbench.signals._sender import Sender

__all__ = [
    "PAUSE_S",
    "PIP_EVERY_S",
    "PIP_S",
    "Multitone",
    "Passage",
    "PassageSender",
    "PerTrack",
    "Sender",
    "Signal",
    "Silence",
    "Sweep",
    "Tone",
    "Tones",
    "TrackSignal",
    "crest_factor",
    "crest_optimised_multitone",
    "line_up_passages",
]
