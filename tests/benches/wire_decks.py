"""Decks of wires, for links. They import little: a process of their own starts in half the time."""

import os

import numpy as np

from fluxbench.base import DeckError, MisuseError


class WireDeck:
    """A deck of wires: what goes in comes out."""

    rate_hz = 48_000
    tracks = 24

    def process(self, send: np.ndarray) -> np.ndarray:
        return send.copy()


class HandedWireDeck(WireDeck):
    """Wires with hands; counts the frames that went through, and may be a process that ends."""

    def __init__(self, answer: str = "") -> None:
        if answer == "none":
            raise MisuseError("there is no such deck")
        self._frames = 0
        self._sent = np.zeros((0, 24), np.float32)

    def give_back(self, send: np.ndarray) -> np.ndarray:
        self._sent = send
        return send.copy()

    def take_in(self) -> None:
        self._frames += int((self._sent != 0.0).any(axis=1).sum())
        self._sent = self._sent[:0]

    def look_ahead(self, frames: int) -> None:
        pass

    def state(self) -> dict[str, int]:
        return {"frames": self._frames}

    truth = state

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        if trimmer == "cable":
            os._exit(1)
        raise DeckError(f"there is no {trimmer} to turn")

    def transport(self, state=None, ready=None, monitor=None) -> dict[str, object]:
        return {"state": state, "ready": ready, "monitor": monitor}

    def load(self, tape: str) -> dict[str, str]:
        return {"tape": tape}

    def locate(self, section=None, position_s=None) -> dict[str, object]:
        return {"section": section, "position_s": position_s}
