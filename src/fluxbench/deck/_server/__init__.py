"""Any deck as a client of the sound server, worked over HTTP."""

from fluxbench.deck._server._hands import RefusedError, ServedDeck, answer
from fluxbench.deck._server._http import ControlsServer
from fluxbench.deck._server._kept import KeptDeck
from fluxbench.deck._server._samples import SamplesServer
from fluxbench.deck._server._serve import serve_deck, serve_samples

__all__ = [
    "ControlsServer",
    "KeptDeck",
    "RefusedError",
    "SamplesServer",
    "ServedDeck",
    "answer",
    "serve_deck",
    "serve_samples",
]
