"""Fewer channels than tracks: which tracks are cabled together, and how that is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fluxbench.base import Cables, MisuseError


@dataclass(frozen=True, slots=True)
class Channels:
    """The channels (from 0) of an interface that may be cabled to the deck, in this order.

    With fewer outputs than are needed the first of them is multed to the inputs of all tracks.
    """

    inputs: tuple[int, ...]
    outputs: tuple[int, ...]

    def __post_init__(self) -> None:
        for side, channels in (("input", self.inputs), ("output", self.outputs)):
            if not channels:
                raise MisuseError(f"a line-up needs one {side} of the interface at least")
            if len(set(channels)) < len(channels) or min(channels) < 0:
                raise MisuseError(f"each {side} once, counted from 1: not {_told(channels)}")

    def cables(self, tracks: int, these: Sequence[int]) -> Cables:
        """How some of the tracks (from 0), no more than there are inputs, are cabled."""
        returns: list[int | None] = [None] * (1 + max(self.inputs))
        sends: list[int | None] = [None] * (1 + max(self.outputs))
        for channel, track in zip(self.inputs, these, strict=False):
            returns[channel] = track
        if len(self.outputs) < min(len(self.inputs), tracks):
            return Cables(tracks, tuple(returns), tuple(sends), self.outputs[0])
        fed = range(tracks) if len(self.outputs) >= tracks else these
        for channel, track in zip(self.outputs, fed, strict=False):
            sends[channel] = track
        return Cables(tracks, tuple(returns), tuple(sends))

    def banks(self, tracks: int) -> list[tuple[int, ...]]:
        """The tracks (from 0) that are cabled together, bank after bank."""
        size = len(self.inputs)
        return [tuple(range(at, min(at + size, tracks))) for at in range(0, tracks, size)]

    def across(self, tracks: int) -> tuple[int, ...]:
        """Tracks from edge to edge of the stack, as many as there are inputs, for its angle."""
        size = min(len(self.inputs), tracks)
        if size == 1:
            return (0,)
        return tuple(round(k * (tracks - 1) / (size - 1)) for k in range(size))


def cables_told(cables: Cables) -> dict[str, Any]:
    """Cables as the facts of an ask: tracks from 1 by channel, None for one that hangs free."""
    return {
        "tracks": cables.tracks,
        "inputs": [None if t is None else t + 1 for t in cables.returns],
        "outputs": [None if t is None else t + 1 for t in cables.sends],
        "mult": None if cables.mult is None else cables.mult + 1,
    }


def cables_from_told(told: Mapping[str, Any]) -> Cables:
    """What `cables_told` told."""
    mult = told["mult"]
    return Cables(
        int(told["tracks"]),
        tuple(None if t is None else int(t) - 1 for t in told["inputs"]),
        tuple(None if t is None else int(t) - 1 for t in told["outputs"]),
        None if mult is None else int(mult) - 1,
    )


def cables_in_words(cables: Cables) -> str:
    """What a person is asked to plug."""
    back = [c for c, t in enumerate(cables.returns) if t is not None]
    words = f"cable the returns of {_tracks(cables.heard)} to {_named('input', back)}"
    if cables.mult is not None:
        return f"{words}, and output {cables.mult + 1} to the inputs of all tracks (a mult)"
    out = [c for c, t in enumerate(cables.sends) if t is not None]
    fed = [t for t in cables.sends if t is not None]
    if fed == list(cables.heard):
        return f"{words}, and {_named('output', out)} to the inputs of the same tracks"
    return f"{words}, and {_named('output', out)} to the inputs of {_tracks(fed)}"


def _tracks(tracks: Sequence[int]) -> str:
    return f"track{'s' * (len(tracks) > 1)} {_told(tracks)}"


def _named(side: str, channels: Sequence[int]) -> str:
    return f"{side}{'s' * (len(channels) > 1)} {_told(channels)}"


def _told(numbers: Sequence[int]) -> str:
    """Numbers counted from 1, a row of neighbours as `9 to 16`."""
    if len(numbers) > 2 and list(numbers) == list(range(numbers[0], numbers[0] + len(numbers))):
        return f"{numbers[0] + 1} to {numbers[-1] + 1}"
    *most, last = (str(number + 1) for number in numbers)
    return f"{', '.join(most)} and {last}" if most else last
