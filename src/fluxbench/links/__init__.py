"""Streams of samples: sound interface, deck handed in, file; and a deck's hands over HTTP."""

from fluxbench.links._protocols import DeckControls, Link

__all__ = ["DeckControls", "Link"]
