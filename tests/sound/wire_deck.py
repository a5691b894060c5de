"""A deck of wires with a few controls, served: ``python wire_deck.py PORT [NAME]``."""

import sys
from typing import Any

import numpy as np

from fluxbench.base import DeckError, FluxbenchError
from fluxbench.deck._server import _serve, serve_deck
from fluxbench.deck._server._client import DeckClient

CLIENTS: list[DeckClient] = []


class KnownClient(DeckClient):
    """One whose count of periods that came late is told with the deck's state."""

    def start(self) -> None:
        CLIENTS.append(self)
        super().start()


class WireDeck:
    """What goes in comes out while it "plays"; stopped, it gives silence."""

    tracks = 24

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._state = "play"

    def process(self, send: np.ndarray) -> np.ndarray:
        return send if self._state == "play" else np.zeros_like(send)

    def state(self) -> dict[str, Any]:
        late = sum(one.late_periods + one.lost_periods for one in CLIENTS)
        return {
            "tracks": self.tracks,
            "rate_hz": self.rate_hz,
            "transport": self._state,
            "late_periods": late,
        }

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        if trimmer != "bias":
            raise DeckError(f"no trimmer {trimmer!r} here")
        return 0.2 + abs(turns)

    def transport(
        self, state: str | None = None, ready: object = None, monitor: str | None = None
    ) -> dict[str, Any]:
        if state == "explode":
            raise RuntimeError("bang")
        self._state = state or self._state
        return self.state()

    def load(self, tape: str) -> dict[str, Any]:
        return self.state() | {"tape": tape}

    def locate(self, section: int | None = None, position_s: float | None = None) -> dict[str, Any]:
        return self.state() | {"section": section, "position_s": position_s}

    def truth(self) -> dict[str, Any]:
        return {"residual": {"bias": np.zeros(2)}, "calibration_wiped": np.bool_(False)}


def main() -> None:
    _serve.DeckClient = KnownClient  # type: ignore[misc]
    try:
        serve_deck(WireDeck, port=int(sys.argv[1]), name=(sys.argv[2:] or ["deck"])[0])
    except FluxbenchError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
