"""Which files are captures, in a fixed order, and which reel each belongs to."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fluxbench.base import CaptureError, MisuseError

SUFFIXES = (".wav", ".wave", ".bwf", ".rf64", ".bw64", ".aif", ".aiff", ".aifc", ".flac")


@dataclass(frozen=True, slots=True)
class Found:
    """A file to catalogue: its path as it was named or found, and its reel.

    `below` is where it lies below the folder that was named: the place of its corrected copy.
    """

    path: str
    reel: str
    below: str


def find(places: Iterable[str], left_out: Sequence[str] = ()) -> list[Found]:
    """Every capture below the folders, and every file that is named, each once, sorted by path.

    Folders `left_out` are not entered, links to folders neither. The reel is the folder below the
    one that was named; a file that lies in that one itself is a reel of its own. `MisuseError` for
    a place that is not there, `CaptureError` for a folder that cannot be listed.
    """
    closed = {os.path.realpath(place) for place in left_out}
    found: dict[str, Found] = {}
    for place in places:
        if os.path.isdir(place):
            for path in _below(place, closed):
                below = os.path.relpath(path, place)
                folder = os.path.dirname(below)
                found.setdefault(path, Found(path, folder or Path(path).stem, below))
        elif os.path.lexists(place):
            name = os.path.basename(place)
            folder = os.path.basename(os.path.dirname(os.path.abspath(place)))
            found.setdefault(place, Found(place, folder or Path(name).stem, name))
        else:
            raise MisuseError(f"{place} is not there; give captures, or folders of them")
    return sorted(found.values(), key=lambda each: each.path)


def _below(folder: str, closed: set[str]) -> Iterator[str]:
    def refused(error: OSError) -> None:
        raise CaptureError(
            f"{error.filename} cannot be listed: {error.strerror or error}"
        ) from None

    for where, folders, names in os.walk(folder, onerror=refused):
        folders[:] = [
            name for name in folders if os.path.realpath(os.path.join(where, name)) not in closed
        ]
        for name in names:
            if name.lower().endswith(SUFFIXES) and not name.startswith("."):
                yield os.path.join(where, name)
