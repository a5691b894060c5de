"""A deck's hands over HTTP, as the page "deck controls" in the reference says."""

import json
from collections.abc import Mapping, Sequence
from http.client import HTTPException
from math import inf
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import OpenerDirector, ProxyHandler, Request, build_opener

from fluxbench.base import DeckError, MisuseError

_WINDING_TIMEOUT_S = 300.0
"""A deck may answer only when the tape has come to where it was sent."""
_LONGEST_ANSWER = 4_000_000  # bytes; a state with its data sheet is some kilobytes


class HttpControls:
    """`DeckControls` of a deck in another process, at a URL such as ``http://127.0.0.1:8765``.

    MisuseError for a URL that is none; DeckError with one line when the deck refuses, does not
    answer within `timeout_s`, or answers what cannot be understood.
    """

    def __init__(self, url: str, timeout_s: float = 3.0) -> None:
        parts = urlsplit(url)
        if parts.scheme != "http" or not parts.netloc:
            raise MisuseError(f"{url!r} is no address of deck controls, http://127.0.0.1:PORT is")
        self._url = url.rstrip("/")
        self._timeout_s = timeout_s
        # A proxy from the environment has no business between the bench and its deck.
        self._opener: OpenerDirector = build_opener(ProxyHandler({}))

    def state(self) -> Mapping[str, Any]:
        """What a person at the deck can see."""
        return self._call("/state")

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Turn a trimmer (positive: clockwise); give back the seconds that the hand needs."""
        answer = self._call("/turn", {"trimmer": trimmer, "turns": turns, "track": track})
        seconds = answer.get("seconds")
        if not isinstance(seconds, int | float) or not 0.0 <= seconds < inf:
            raise DeckError(f"the deck at {self._url} does not say how long the turn takes")
        return float(seconds)

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> Mapping[str, Any]:
        """Press keys; what is left out stays as it is."""
        listed = None if ready is None else list(ready)
        return self._call("/transport", {"state": state, "ready": listed, "monitor": monitor})

    def load(self, tape: str) -> Mapping[str, Any]:
        """Thread a tape; the deck stops for it."""
        return self._call("/load", {"tape": tape})

    def locate(
        self, section: int | None = None, position_s: float | None = None
    ) -> Mapping[str, Any]:
        """Wind to a section or to a place in seconds."""
        where = {"section": section, "position_s": position_s}
        return self._call("/locate", where, max(self._timeout_s, _WINDING_TIMEOUT_S))

    def truth(self) -> Mapping[str, Any]:
        """For a judge only, after the line-up is closed."""
        return self._call("/truth")

    def call(
        self, path: str, body: Mapping[str, Any] | None = None, timeout_s: float | None = None
    ) -> Mapping[str, Any]:
        """Any call of the deck, also one that only this deck has; None in the body is left out."""
        return self._call(path, body, timeout_s)

    def _call(
        self, path: str, body: Mapping[str, Any] | None = None, timeout_s: float | None = None
    ) -> Mapping[str, Any]:
        request = Request(self._url + path)
        if body is not None:
            given = {name: value for name, value in body.items() if value is not None}
            request.data = json.dumps(given).encode()
            request.add_header("Content-Type", "application/json")
        try:
            answer = self._understood(path, self._answer(request, timeout_s or self._timeout_s))
        except HTTPError as error:
            with error:
                raise DeckError(self._refusal(path, error)) from None
        except (URLError, HTTPException, OSError) as error:
            reason = getattr(error, "reason", error)
            raise DeckError(
                f"no deck answers at {self._url} ({_one_line(str(reason))}); "
                "start it with `fluxbench deck` or check the port"
            ) from None
        return answer

    def _answer(self, request: Request, timeout_s: float) -> bytes:
        """What the deck answers; a connection that it drops is tried once more, except for a turn.

        What else is asked for twice is there once. A turn may have been made.
        """
        for last in (request.selector == "/turn", True):
            try:
                with self._opener.open(request, timeout=timeout_s) as response:
                    content: bytes = response.read(_LONGEST_ANSWER)
                    return content
            except (ConnectionError, HTTPException):
                if last:
                    raise
            except URLError as error:
                dropped = isinstance(error.reason, ConnectionError)
                refused = isinstance(error.reason, ConnectionRefusedError)
                if last or refused or not dropped:
                    raise
        raise AssertionError  # the second time returns or raises

    def _understood(self, path: str, content: bytes) -> Mapping[str, Any]:
        try:
            answer = json.loads(content)
        except ValueError:
            answer = None
        if not isinstance(answer, dict):
            raise DeckError(f"what answers at {self._url}{path} is no deck: not a JSON object")
        return answer

    def _refusal(self, path: str, error: HTTPError) -> str:
        """The deck's own line, else what the answer's number says."""
        try:
            line = json.loads(error.read(_LONGEST_ANSWER))["error"]
        except (ValueError, KeyError, TypeError, HTTPException, OSError):
            line = f"the deck at {self._url} answered {path} with {error.code}"
        return _one_line(str(line))


def _one_line(text: str) -> str:
    return " ".join(text.split())
