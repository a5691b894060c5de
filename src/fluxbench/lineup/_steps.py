"""What a line-up keeps, step by step, so that it can go on where it was interrupted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluxbench.lineup._peak import Peak


@dataclass(frozen=True, slots=True)
class Kept:
    """The result of one step as plain JSON values, and the bench as it stood after it.

    `number` counts the steps of a line-up; a part of a step that is not over yet has its number.
    """

    number: int
    name: str
    value: Any
    state: Mapping[str, Any]
    is_part: bool = False


class Leave(Exception):  # noqa: N818 - not an error: the person wants to be elsewhere
    """The running stage is left, for the stage `to` or, if that is None, for the next one.

    `again` says that this happened before an interruption.
    """

    def __init__(self, to: str | None, reason: str, again: bool = False) -> None:
        super().__init__(reason)
        self.to = to
        self.reason = reason
        self.again = again


class Steps:
    """The steps that were taken before an interruption, to be gone through again in order.

    They are results, not samples: what was measured is not measured again. The step that was
    running has none, only its parts, and runs anew.
    """

    def __init__(self, past: Sequence[Kept] = ()) -> None:
        done = {kept.number: kept for kept in past if not kept.is_part}
        self._past = [done[n] for n in range(len(done)) if n in done]
        self._parts = [kept for kept in past if kept.is_part and kept.number == len(self._past)]
        self.number = 0
        self.fresh: list[Kept] = []
        """What is new since the start; the owner takes it away and writes it down."""

    @property
    def replaying(self) -> bool:
        """Whether there are steps of the past still to come."""
        return self.number < len(self._past)

    def next(self, name: str) -> Kept | None:
        """The kept result of the step that comes now, None if it has to run; may raise `Leave`."""
        if not self.replaying:
            return None
        kept = self._past[self.number]
        self.number += 1
        if kept.name == "leave":
            to, reason = kept.value
            raise Leave(to, reason, again=True)
        if kept.name != name:  # written by another version: from here on it is measured anew
            self._past = self._past[: self.number - 1]
            self.number -= 1
            self._parts = []
            return None
        return kept

    def keep(self, name: str, value: Any, state: Mapping[str, Any]) -> None:
        """Keep the result of a step that is over."""
        self.fresh.append(Kept(self.number, name, frozen(value), state))
        self.number += 1
        self._parts = []

    def keep_part(self, name: str, value: Any) -> None:
        """Keep what a step has reached before it is over."""
        part = Kept(self.number, name, frozen(value), {}, True)
        self.fresh.append(part)
        self._parts.append(part)

    def parts(self, name: str) -> list[Any]:
        """What the running step has reached of that name, also before an interruption."""
        return [thawed(part.value) for part in self._parts if part.name == name]

    def put_back(self, trimmer: str, track: int | None, on: bool) -> None:
        """Whether this trimmer (tracks from 1) goes back to where it was found, in this step."""
        self.keep_part("put back", (trimmer, track, on))

    def goes_back(self, trimmer: str, track: int | None) -> bool:
        """What was said last of this trimmer in this step."""
        said = [on for *one, on in self.parts("put back") if one == [trimmer, track]]
        return bool(said and said[-1])


def frozen(value: Any) -> Any:
    """A result as plain JSON values, told apart so that `thawed` gives the same back."""
    if isinstance(value, (np.floating, float)):
        return float(value) if np.isfinite(value) else {"float": str(float(value))}
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, np.ndarray):
        return {"array": [frozen(row) for row in value.tolist()]}
    if isinstance(value, Peak):
        return {"peak": [value.level_db, value.error_db, value.difference_db]}
    if isinstance(value, tuple):
        return {"tuple": [frozen(item) for item in value]}
    if isinstance(value, list):
        return [frozen(item) for item in value]
    if isinstance(value, dict):
        return {"table": [[frozen(key), frozen(item)] for key, item in value.items()]}
    return value


def thawed(value: Any) -> Any:
    """The result that `frozen` was given."""
    if isinstance(value, list):
        return [thawed(item) for item in value]
    if not isinstance(value, dict):
        return value
    ((kind, held),) = value.items()
    if kind == "float":
        return float(held)
    if kind == "array":
        return np.array(thawed(held), np.float64)
    if kind == "peak":
        return Peak(*held)
    if kind == "tuple":
        return tuple(thawed(item) for item in held)
    return {thawed(key): thawed(item) for key, item in held}


def rounded(value: Any) -> Any:
    """Facts for the journal: plain values, four decimals, None for what is not finite."""
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [rounded(v) for v in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 4) if np.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    return value
