"""The bench for browsers and scripts: HTTP API, sockets, screens; the only async code."""

from fluxbench.web._app import build_app
from fluxbench.web._serve import listen_on, serve_app

__all__ = ["build_app", "listen_on", "serve_app"]
