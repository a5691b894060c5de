"""How often a client may knock: so many at once, so many a second from then on."""

import time
from collections import OrderedDict
from collections.abc import Callable

REMEMBERED = 1000
"""Clients; whoever has been quiet the longest is forgotten first."""


class Limit:
    """Counts calls of each client; one that comes too often is told how long to wait."""

    def __init__(
        self, at_once: int, each_s: float, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._at_once, self._each_s, self._clock_s = at_once, each_s, clock_s
        self._clients: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, client: str) -> float:
        """Count one more call of a client; 0 if it may pass, else the seconds until it may."""
        now_s = self._clock_s()
        left, seen_s = self._clients.pop(client, (float(self._at_once), now_s))
        left = min(float(self._at_once), left + (now_s - seen_s) / self._each_s)
        passes = left >= 1.0
        self._clients[client] = (left - 1.0 if passes else left, now_s)
        if len(self._clients) > REMEMBERED:
            self._clients.popitem(last=False)
        return 0.0 if passes else (1.0 - left) * self._each_s
