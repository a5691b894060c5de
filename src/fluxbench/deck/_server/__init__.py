"""Any deck as a client of the sound server, worked over HTTP."""

from fluxbench.deck._server._hands import RefusedError, ServedDeck, answer
from fluxbench.deck._server._http import ControlsServer
from fluxbench.deck._server._serve import serve_deck

__all__ = ["ControlsServer", "RefusedError", "ServedDeck", "answer", "serve_deck"]
