"""The practice deck as it stands in its room: it outlives its process, and things can go wrong."""

import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import DeckError, MisuseError
from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._faults import FAULTS
from fluxbench.deck._server._practising import Practising
from fluxbench.deck._speeds import at_speed
from fluxbench.deck._state_file import reading_state, write_state
from fluxbench.deck._swaps import swapped

_LOOK_S = 0.1
_TAPE_S = 1.0


class KeptDeck:
    """A practice deck with a state file; `lock` is held by whoever calls it.

    Trimmers reach the file within 0.1 s of their movement, the place on the tape within 1 s. A
    file that is there wins over what the deck would be made of.
    """

    def __init__(self, path: Path | None, lock: threading.Lock, made_as: dict[str, Any]) -> None:
        self._path, self._lock = path, lock
        there = path is not None and path.exists()
        self._practising = Practising()
        if path and there:
            with reading_state(path) as kept:
                self._deck = PracticeDeck.from_kept(kept)
                self._practising = Practising(kept.get("exercise"))
        else:
            self._deck = PracticeDeck(**made_as)
        self._saved: dict[str, Any] = {}
        self._saved_s = 0.0
        self.failure: str | None = None
        self.over = threading.Event()
        self._saver = threading.Thread(target=self._keep_saving, name="state file")

    @property
    def rate_hz(self) -> int:
        """Frames a second."""
        return self._deck.rate_hz

    @property
    def tracks(self) -> int:
        """Tracks in and out."""
        return self._deck.tracks

    def start(self) -> None:
        """Write the state file from now on."""
        if self._path is not None:
            self._save(self._kept())
            self._saver.start()

    def close(self) -> None:
        """Write it once more, and no more."""
        self.over.set()
        if self._saver.is_alive():
            self._saver.join()
            with self._lock:
                kept = self._kept()
            self._save(kept)

    def process(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take float32 (frames, tracks), full scale 1; give back the return, same shape."""
        if self._practising.runs and self._deck.tape_runs:
            self._practising.tape_s += len(send) / self._deck.rate_hz
        return self._deck.process(send)

    def state(self) -> Mapping[str, Any]:
        """What a person at the deck can see."""
        return self._deck.state()

    def truth(self) -> Mapping[str, Any]:
        """For a judge only; never while an exercise runs."""
        self._practising.refuse()
        return self._deck.truth()

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Begin to turn; give back the seconds that the hand needs."""
        return self._deck.turn(trimmer, turns, track)

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> Mapping[str, Any]:
        """Press the buttons; give back the new state."""
        return self._deck.transport(state, ready, monitor)

    def load(self, tape: str) -> Mapping[str, Any]:
        """Thread a tape; the deck stops."""
        return self._deck.load(tape)

    def locate(
        self, section: int | None = None, position_s: float | None = None
    ) -> Mapping[str, Any]:
        """Wind to a place; the deck stops."""
        return self._deck.locate(section, position_s)

    def faults(self) -> Mapping[str, Any]:
        """Which faults are on, and which there are; `on` is None while an exercise hides them."""
        on = list(self._deck.kept()["made_as"]["faults"])
        return {"on": None if self._practising.runs else on, "kinds": list(FAULTS)}

    def switch_faults(self, on: Sequence[str]) -> Mapping[str, Any]:
        """Have exactly these faults from now on; the deck stops, its trimmers stay."""
        self._practising.refuse()
        kept = self._deck.kept()
        kept["made_as"]["faults"] = list(on)
        try:
            self._deck = PracticeDeck.from_kept(kept)
        except MisuseError as error:
            raise DeckError(str(error)) from None
        return self.faults()

    def swap(self, what: str, tracks: Sequence[int]) -> Mapping[str, Any]:
        """Have the cards, or the head leads, of two tracks change places; the deck stops.

        DeckError while an exercise runs: where a trimmer stands is what it judges.
        """
        self._practising.refuse()
        self._deck = PracticeDeck.from_kept(swapped(self._deck.kept(), what, tracks))
        return self.state()

    def choose_speed(self, speed_ips: float) -> Mapping[str, Any]:
        """Run at another speed from now on, by trimmers of its own; the deck stops."""
        self._practising.refuse()
        kept = self._deck.kept()
        try:
            as_found = PracticeDeck(**kept["made_as"] | {"speed_ips": float(speed_ips)})
        except MisuseError as error:
            raise DeckError(str(error)) from None
        self._deck = PracticeDeck.from_kept(at_speed(kept, as_found.kept(), speed_ips))
        return self.state()

    def renew(
        self, seed: int = 1, tracks: int | None = None, speed_ips: float | None = None
    ) -> Mapping[str, Any]:
        """Become another practice deck, as found."""
        self._practising.refuse()
        made_as = self._deck.kept()["made_as"] | {
            "seed": seed,
            "faults": [],
            "cards": None,
            "leads": None,
        }
        made_as |= {} if tracks is None else {"tracks": tracks}
        made_as |= {} if speed_ips is None else {"speed_ips": float(speed_ips)}
        if seed < 0:
            raise DeckError(f"a seed counts from 0, it cannot be {seed}")
        self._deck, self._practising = PracticeDeck(**made_as), Practising()
        return self.state()

    def exercises(self) -> Mapping[str, Any]:
        """All exercises that there are."""
        return self._practising.exercises()

    def exercise(self) -> Mapping[str, Any]:
        """The exercise that runs or has been judged."""
        return self._practising.told()

    def begin_exercise(self, name: str, seed: int) -> Mapping[str, Any]:
        """Become the deck of an exercise; what it hides is told by nothing until it is judged."""
        self._deck = self._practising.begin(name, seed, self._deck)
        return self.exercise()

    def hand_in(self, id: str, found: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
        """Have the exercise judged by the deck's own formulas; `id` is who handed it in."""
        self._practising.hand_in(self._deck, id, found)
        return self.exercise()

    def leave(self) -> Mapping[str, Any]:
        """Have the deck that stood here before the exercise."""
        self._deck = self._practising.leave() or self._deck
        return self.exercise()

    def _kept(self) -> dict[str, Any]:
        return {**self._deck.kept(), "exercise": self._practising.kept}

    def _keep_saving(self) -> None:
        while not self.over.wait(_LOOK_S):
            with self._lock:
                kept = self._kept()
            if kept == self._saved:
                continue
            urgent = _needs_saving(kept, self._saved)
            if urgent or time.monotonic() - self._saved_s > _TAPE_S:
                try:
                    self._save(kept)
                except OSError as error:
                    self.failure = f"{self._path} cannot be written: {error.strerror}"
                    self.over.set()

    def _save(self, kept: dict[str, Any]) -> None:
        if self._path is not None:
            write_state(self._path, kept)
            self._saved, self._saved_s = kept, time.monotonic()


def _needs_saving(kept: Mapping[str, Any], saved: Mapping[str, Any]) -> bool:
    """Whether something has changed that cannot wait for the next second."""
    was, now = ({**(state["exercise"] or {}), "tape_s": 0.0} for state in (saved, kept))
    return was != now or any(kept[key] != saved[key] for key in ("trimmers", "made_as", "tape"))
