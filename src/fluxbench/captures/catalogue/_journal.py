"""What was measured already, on disk before it counts: one line a content, found by its hash.

A line is whole or it is not there: one that a killed run left half written is cut off. Each has a
check sum in front, so that a damaged one is measured anew instead of believed.
"""

import json
import os
import zlib
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from fluxbench.base import CaptureError
from fluxbench.captures.catalogue._facts import FACTS_VERSION, Facts

_SUM_DIGITS = 8


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of measuring one content: facts, or the reason why it was set aside."""

    facts: Facts | None
    set_aside: str = ""


class Journal:
    """The outcomes of all runs beside one catalogue; one run at a time has it."""

    def __init__(self, path: Path) -> None:
        """Open or begin a journal; `CaptureError` if it cannot be, or another run has it."""
        self._path = path
        self._places: dict[str, int] = {}
        self._set_aside: set[str] = set()
        try:
            self._file = path.open("a+b")
            _lock(self._file.fileno())
            self._file.truncate(self._read())
        except BlockingIOError:
            self._file.close()
            raise CaptureError(
                f"{path} is in use by another run; wait for its end, or catalogue to another folder"
            ) from None
        except OSError as error:
            raise CaptureError(f"{path} cannot be used: {error.strerror or error}") from None

    def __enter__(self) -> "Journal":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._file.close()

    def __contains__(self, sha256: str) -> bool:
        return sha256 in self._places

    def is_set_aside(self, sha256: str) -> bool:
        """Whether this content is known, and known as one that cannot be measured."""
        return sha256 in self._set_aside

    def add(self, sha256: str, outcome: Outcome) -> None:
        """Keep an outcome; it is on disk when this returns."""
        told: dict[str, Any] = {"sha256": sha256, "version": FACTS_VERSION}
        if outcome.facts is None:
            told["set_aside"] = outcome.set_aside
        else:
            told["facts"] = outcome.facts
        text = json.dumps(told, allow_nan=False, separators=(",", ":")).encode()
        try:
            place = self._file.seek(0, os.SEEK_END)
            self._file.write(b"%08x %s\n" % (zlib.crc32(text), text))
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise CaptureError(
                f"{self._path} cannot be written: {error.strerror or error};"
                " make room and run again, what it holds is kept"
            ) from None
        self._note(told, place)

    def get(self, sha256: str) -> Outcome:
        """The outcome of a content that is in it."""
        self._file.seek(self._places[sha256])
        told = _told(self._file.readline()) or {}
        return Outcome(told.get("facts"), told.get("set_aside", ""))

    def _read(self) -> int:
        """Note what is there; give back where the last whole line ends."""
        end = self._file.seek(0)
        for line in self._file:
            if not line.endswith(b"\n"):
                break
            told = _told(line)
            if told is not None and told.get("version") == FACTS_VERSION:
                self._note(told, end)
            end += len(line)
        return end

    def _note(self, told: dict[str, Any], place: int) -> None:
        self._places[told["sha256"]] = place
        (self._set_aside.discard if "facts" in told else self._set_aside.add)(told["sha256"])


def _told(line: bytes) -> dict[str, Any] | None:
    """What a line says; None if it does not agree with its check sum."""
    text = line[_SUM_DIGITS + 1 : -1]
    if line[: _SUM_DIGITS + 1] != b"%08x " % zlib.crc32(text):
        return None
    told: dict[str, Any] = json.loads(text)
    return told


def _lock(descriptor: int) -> None:
    """Keep other runs out until the file is closed, however this one ends."""
    try:
        import fcntl
    except ImportError:  # a system without: two runs may measure a file twice, none is lost
        return
    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
