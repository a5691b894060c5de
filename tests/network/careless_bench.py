"""`fluxbench` with a planted mistake: its door to the network forgets sockets."""

import sys
from typing import Any

from fluxbench.cli import main
from fluxbench.web._door import Door

plain = Door.__call__


async def forgetful(door: Door, scope: Any, receive: Any, send: Any, *, desk: bool) -> None:
    """Let every socket through, as if it came from the desk."""
    await plain(door, scope, receive, send, desk=desk or scope["type"] == "websocket")


if __name__ == "__main__":
    Door.__call__ = forgetful  # type: ignore[method-assign]
    sys.exit(main(sys.argv[1:]))
