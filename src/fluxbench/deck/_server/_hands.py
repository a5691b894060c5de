"""The calls of the deck controls: JSON in, JSON out, every field looked at before the deck is."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import FluxbenchError


class ServedDeck(Protocol):
    """What a deck must have to be served: its samples and its hands.

    Hands refuse with a FluxbenchError or a ValueError of one line.
    """

    @property
    def rate_hz(self) -> int: ...
    @property
    def tracks(self) -> int: ...
    def process(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take float32 (frames, tracks), full scale 1; give back the same shape."""
        ...

    def state(self) -> Mapping[str, Any]: ...
    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float: ...
    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> Mapping[str, Any]: ...
    def load(self, tape: str) -> Mapping[str, Any]: ...
    def locate(
        self, section: int | None = None, position_s: float | None = None
    ) -> Mapping[str, Any]: ...
    def truth(self) -> Mapping[str, Any]: ...


class RefusedError(Exception):
    """A call that is not carried out: the HTTP status and one line."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(" ".join(line.split()))
        self.status = status


@dataclass(frozen=True, slots=True)
class _Kind:
    """What a field may hold."""

    name: str
    fits: Callable[[Any], bool]


@dataclass(frozen=True, slots=True)
class _Call:
    """A POST: the deck's method of that name, its fields, and those that must be there."""

    fields: Mapping[str, _Kind]
    needed: tuple[str, ...] = ()


def _is_whole(value: Any) -> bool:
    return type(value) is int and abs(value) < 1_000_000


def _is_number(value: Any) -> bool:
    return type(value) in (int, float) and abs(value) < 1e9  # false for what is not finite


_TEXT = _Kind("text", lambda value: isinstance(value, str))
_WHOLE = _Kind("a whole number", _is_whole)
_NUMBER = _Kind("a finite number", _is_number)
_TRACKS = _Kind(
    "a list of track numbers", lambda value: isinstance(value, list) and all(map(_is_whole, value))
)

_TEXTS = _Kind(
    "a list of texts",
    lambda value: isinstance(value, list) and all(isinstance(item, str) for item in value),
)


def _is_found(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and value.keys() == {"what", "tracks"}
        and isinstance(value["what"], str)
        and _TRACKS.fits(value["tracks"])
    )


_FOUND = _Kind(
    "a list of objects with what and tracks",
    lambda value: isinstance(value, list) and len(value) <= 20 and all(map(_is_found, value)),
)

_READS = ("state", "truth")
_CALLS = {
    "turn": _Call({"trimmer": _TEXT, "turns": _NUMBER, "track": _WHOLE}, ("trimmer", "turns")),
    "transport": _Call({"state": _TEXT, "ready": _TRACKS, "monitor": _TEXT}),
    "load": _Call({"tape": _TEXT}, ("tape",)),
    "locate": _Call({"section": _WHOLE, "position_s": _NUMBER}),
}

_PRACTICE_CALLS = {
    "faults": _Call({"on": _TEXTS}, ("on",)),
    "exercise": _Call({"name": _TEXT, "seed": _WHOLE}, ("name", "seed")),
    "hand_in": _Call({"id": _TEXT, "found": _FOUND}, ("id", "found")),
    "leave": _Call({}),
    "swap": _Call({"what": _TEXT, "tracks": _TRACKS}, ("what", "tracks")),
    "speed": _Call({"speed_ips": _NUMBER}, ("speed_ips",)),
    "renew": _Call({"seed": _WHOLE, "tracks": _WHOLE, "speed_ips": _NUMBER}),
}
"""What only a practice deck has: faults to switch, exercises, and other decks to become."""


_NAMED_OTHERWISE = {
    "faults": "switch_faults",
    "exercise": "begin_exercise",
    "speed": "choose_speed",
}


def answer(deck: ServedDeck, method: str, path: str, body: bytes) -> bytes:
    """Carry out one call and give back its JSON; RefusedError with 400, 404 or 500."""
    name = path.removeprefix("/")
    calls, reads = dict(_CALLS), list(_READS)
    if hasattr(deck, "switch_faults"):
        calls |= _PRACTICE_CALLS
        reads += ["faults", "exercises", "exercise"]
    if method == "GET" and name in reads:
        fields: dict[str, Any] = {}
    elif method == "POST" and name in calls:
        fields = _checked(name, calls[name], body)
    else:
        raise RefusedError(
            404,
            f"no call {method} {path}; there are GET /{_listed(reads)} and POST /{_listed(calls)}",
        )
    called = _NAMED_OTHERWISE.get(name, name) if method == "POST" else name
    try:
        result = getattr(deck, called)(**fields)
        if name == "turn":
            result = {"ok": True, "seconds": result, **_stands(deck.state(), **fields)}
    except (FluxbenchError, ValueError) as error:
        raise RefusedError(400, str(error)) from error
    except Exception as error:
        raise RefusedError(500, f"the deck failed at {path}: {error!r}") from error
    try:
        return json.dumps(result, allow_nan=False, default=_plain).encode()
    except (TypeError, ValueError) as error:
        raise RefusedError(500, f"the deck's answer to {path} is no JSON: {error}") from error


def _stands(
    state: Mapping[str, Any], trimmer: str, turns: float, track: int = 1
) -> dict[str, float]:
    """Where a trimmer stands after a turn, of a deck that tells it."""
    told = state.get("trimmers", {}).get("stands_turns", {})
    return {"stands_turns": told[trimmer][track - 1]} if trimmer in told else {}


def _checked(name: str, call: _Call, body: bytes) -> dict[str, Any]:
    try:
        fields = json.loads(body)
    except (ValueError, RecursionError):
        fields = None
    if not isinstance(fields, dict):
        raise RefusedError(400, f"/{name} wants one JSON object")
    for field, value in fields.items():
        if field not in call.fields:
            raise RefusedError(400, f"no field {field!r} in /{name}; there are {_names(call)}")
        kind = call.fields[field]
        if not kind.fits(value):
            raise RefusedError(400, f"{field} must be {kind.name}")
    missing = [field for field in call.needed if field not in fields]
    if missing:
        raise RefusedError(400, f"/{name} needs {' and '.join(missing)}")
    if name == "locate" and len(fields) != 1:
        raise RefusedError(400, "/locate needs either section or position_s")
    return fields


def _names(call: _Call) -> str:
    return ", ".join(call.fields)


def _listed(names: Iterable[str]) -> str:
    return ", /".join(names)


def _plain(value: Any) -> Any:
    """Numbers and arrays of numpy as plain ones."""
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} in the answer")
