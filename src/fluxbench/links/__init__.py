"""Streams of samples: sound interface, deck handed in, file; and a deck's hands over HTTP."""

from fluxbench.links._cabled import CabledLink
from fluxbench.links._deck import Deck, DeckLink
from fluxbench.links._deck_apart import DeckApart
from fluxbench.links._duplex_ring import SilenceKey
from fluxbench.links._file import FileLink
from fluxbench.links._http_controls import HttpControls
from fluxbench.links._interfaces import Interface, interfaces
from fluxbench.links._portaudio import PortAudioLink
from fluxbench.links._protocols import DeckControls, Link
from fluxbench.links._stream import StreamLink

__all__ = [
    "CabledLink",
    "Deck",
    "DeckApart",
    "DeckControls",
    "DeckLink",
    "FileLink",
    "HttpControls",
    "Interface",
    "Link",
    "PortAudioLink",
    "SilenceKey",
    "StreamLink",
    "interfaces",
]
