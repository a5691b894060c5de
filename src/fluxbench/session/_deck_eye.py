"""Looks at the deck's display now and then, where it has one: transport, tape, place."""

import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

from fluxbench.base import FluxbenchError
from fluxbench.links import DeckControls
from fluxbench.session._threads import WatchedThread

LOOK_S = 0.25
DISPLAY = frozenset({"transport", "tape", "position_s", "speed_ips"})
"""A deck that does not show these has no display to speak of."""


class DeckEye:
    """What was seen last, None where there is nothing to see; for the display of tape time alone.

    No reading and no advice comes from it.
    """

    def __init__(self, controls: DeckControls | None, died: Callable[[str], None]) -> None:
        self.seen: Mapping[str, Any] | None = None
        self.counted_s = 0.0
        """How long the tape has run since the start of the bench."""
        self._controls = controls
        self._over = threading.Event()
        self._thread = WatchedThread("deck display", self._look, died)

    def start(self) -> None:
        """Begin to look."""
        if self._controls is not None:
            self._thread.start()

    def close(self) -> None:
        """Look no more."""
        self._over.set()
        self._thread.join(5.0)

    def tracks(self) -> int | None:
        """How many tracks the deck says that it has; None if it says nothing."""
        try:
            told = {} if self._controls is None else self._controls.state()
        except FluxbenchError:
            return None
        tracks = told.get("tracks")
        return tracks if isinstance(tracks, int) else None

    @property
    def zero_dbfs(self) -> float:
        """The level of 0 VU at the interface, full scale if nothing tells."""
        try:
            electrical = (self.seen or {})["electrical"]
            return float(electrical["zero_vu_dbu"] - electrical["interface_full_scale_dbu"])
        except (KeyError, TypeError):
            return 0.0

    def _look(self) -> None:
        before_s = time.monotonic()
        while not self._over.wait(LOOK_S) and self._controls is not None:
            try:
                told = self._controls.state()
            except FluxbenchError:
                told = {}
            self.seen = told if told.keys() >= DISPLAY else None
            now_s = time.monotonic()
            if self.seen is not None and self.seen.get("transport") != "stop":
                self.counted_s += now_s - before_s
            before_s = now_s
