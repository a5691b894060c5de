"""The bench for browsers and scripts: HTTP API, sockets, screens; the only async code."""

from fluxbench.web._app import build_app
from fluxbench.web._devices import Devices
from fluxbench.web._lan import Lan, Visitor, link_to
from fluxbench.web._serve import listen_on, serve_app

__all__ = ["Devices", "Lan", "Visitor", "build_app", "link_to", "listen_on", "serve_app"]
