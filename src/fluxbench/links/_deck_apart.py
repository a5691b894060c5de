"""A deck in a process of its own, which records a block while the bench looks at what came back."""

import multiprocessing
import signal
from collections.abc import Callable, Mapping, Sequence
from multiprocessing.connection import Connection
from typing import Any, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, DeviceLostError, FluxbenchError, LinkError, MisuseError
from fluxbench.links._deck import Deck
from fluxbench.links._protocols import DeckControls
from fluxbench.links._sends import check_send

F32 = NDArray[np.float32]

_SPAWN = multiprocessing.get_context("spawn")
_ENDS_S = 5.0
_LONGEST_BLOCK = 2**20
"""Samples of all channels. They pass through memory that both share: a pipe takes a
millisecond for those of 40 ms."""


class HandedDeck(Deck, DeckControls, Protocol):
    """A deck with samples and hands, whose `process` may be had in parts."""

    def give_back(self, send: F32) -> F32:
        """What comes back while a block is sent."""
        ...

    def take_in(self) -> None:
        """Record that block; before anything else is asked for."""
        ...

    def look_ahead(self, frames: int) -> None:
        """Make ready what comes back of a next block, if it can be told before it is sent."""
        ...


class DeckApart:
    """Link and hands of a deck that a picklable factory makes in another process.

    What was sent is recorded while the bench looks at what came back: the two are a head spacing
    apart. Then the deck works out what will come back next, and forgets it if a hand moves first.
    Same calls, same answers, however fast either process is. What the factory raises is
    raised here; DeviceLostError once the deck's process has ended by itself. Leaving the `with`
    lets the deck go, and its process with it.
    """

    def __init__(self, factory: Callable[[], HandedDeck]) -> None:
        self._pipe, other = _SPAWN.Pipe()
        there, back = (_SPAWN.RawArray("f", _LONGEST_BLOCK) for _ in range(2))
        self._there, self._back = _shared(there), _shared(back)
        self._process = _SPAWN.Process(
            target=_be_the_deck, args=(other, factory, there, back), name="deck", daemon=True
        )
        self._process.start()
        other.close()
        self._next_frame = 0
        self._open = True
        try:
            told: tuple[int, int] = self._answer()
        except FluxbenchError:
            self._end()
            raise
        self.rate_hz, self.inputs = told

    @property
    def outputs(self) -> int:
        """As many channels as inputs."""
        return self.inputs

    def exchange(self, send: F32) -> Block:
        """Send a block; give back as many frames; the flags are always `NONE`."""
        check_send(send, self.outputs)
        if not self._open:
            raise LinkError("the link to the deck is closed; open a new one")
        if send.size > _LONGEST_BLOCK:
            raise MisuseError(
                f"{len(send)} frames are too many for one block;"
                f" send at most {_LONGEST_BLOCK // self.outputs}"
            )
        self._there[: send.size] = send.ravel()
        self._ask("give_back", len(send))
        samples = self._back[: send.size].reshape(send.shape).copy()
        block = Block(samples, self._next_frame)
        self._next_frame += len(send)
        return block

    def state(self) -> Mapping[str, Any]:
        """What a person at the deck can see."""
        return self._call("state")

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Turn a trimmer (positive: clockwise); give back the seconds that the hand needs."""
        return float(self._ask("turn", trimmer, turns, track))

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> Mapping[str, Any]:
        """Press keys; what is left out stays as it is."""
        return self._call("transport", state, ready, monitor)

    def load(self, tape: str) -> Mapping[str, Any]:
        """Thread a tape; the deck stops for it."""
        return self._call("load", tape)

    def locate(
        self, section: int | None = None, position_s: float | None = None
    ) -> Mapping[str, Any]:
        """Wind to a section or to a place in seconds."""
        return self._call("locate", section, position_s)

    def truth(self) -> Mapping[str, Any]:
        """For a judge only, after the line-up is closed."""
        return self._call("truth")

    def close(self) -> None:
        """End the link; the hands stay on the deck for as long as the `with` lasts."""
        self._open = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()
        self._end()

    def _end(self) -> None:
        self._pipe.close()
        self._process.join(_ENDS_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()

    def _call(self, name: str, *given: Any) -> Mapping[str, Any]:
        answer: Mapping[str, Any] = self._ask(name, *given)
        return answer

    def _ask(self, name: str, *given: Any) -> Any:
        self._say(name, *given)
        return self._answer()

    def _say(self, name: str, *given: Any) -> None:
        try:
            self._pipe.send((name, given))
        except OSError:
            raise _gone() from None

    def _answer(self) -> Any:
        try:
            answer = self._pipe.recv()
        except (EOFError, OSError):
            raise _gone() from None
        if isinstance(answer, FluxbenchError):
            raise answer
        return answer


def _gone() -> DeviceLostError:
    return DeviceLostError("the process of the practice deck has ended; start again")


def _shared(memory: Any) -> F32:
    return np.frombuffer(memory, np.float32)


def _be_the_deck(
    pipe: Connection, factory: Callable[[], HandedDeck], there: Any, back: Any
) -> None:
    """Do what is said until nobody is there to say anything."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        deck = factory()
    except FluxbenchError as error:
        pipe.send(error)
        return
    pipe.send((deck.rate_hz, deck.tracks))
    sent, returned = _shared(there), _shared(back)

    def give_back(frames: int) -> None:
        size = frames * deck.tracks
        block = deck.give_back(sent[:size].reshape(frames, deck.tracks).copy())
        returned[:size] = block.ravel()

    frames = 0
    while True:
        try:
            name, given = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = (give_back if name == "give_back" else getattr(deck, name))(*given)
        except FluxbenchError as error:
            answer = error
        try:
            pipe.send(answer)
        except OSError:
            return
        deck.take_in()
        if name == "give_back":
            (frames,) = given
        if frames:
            deck.look_ahead(frames)
