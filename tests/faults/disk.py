"""What a disk holds after a power cut, from the trace of what a process did (`shim.c`).

What was written to a file is on the disk when a sync of that file has succeeded. Until then each
sector of each write is kept, lost or garbage, on its own; a new length or none. After a sync that
failed the same is true of what it should have written, for good: a later sync does not write it
again, as on Linux, where the pages count as clean then. A name (made, renamed, removed) is on the
disk when its folder was synced; until then the first few changes of a folder are, in their order.
"""

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
HEAD = struct.Struct("<ccHiqq")


@dataclass(frozen=True, slots=True)
class Event:
    """One record: what was done to which file or name."""

    what: str
    failed: bool
    file: int
    offset: int
    length: int
    name: str
    data: bytes


def read_trace(path: Path) -> Iterator[Event]:
    raw, at = path.read_bytes(), 0
    while at < len(raw):
        what, failed, name_bytes, file, offset, length = HEAD.unpack_from(raw, at)
        at += HEAD.size
        name = raw[at : at + name_bytes].decode()
        at += name_bytes
        data = raw[at : at + length] if what in b"w!r" else b""
        at += len(data)
        yield Event(what.decode(), failed != b"\0", file, offset, length, name, data)


@dataclass(slots=True)
class Change:
    """A write, or with `data` None a new length; `doomed` once a sync of it has failed."""

    offset: int
    data: bytes | None
    doomed: bool = False


def do(content: bytearray, change: Change) -> None:
    """Make the whole change."""
    if change.data is None:
        kept = content[: change.offset]
        content[:] = kept + bytes(change.offset - len(kept))
    else:
        put(content, change.offset, change.data)


def put(content: bytearray, offset: int, data: bytes) -> None:
    content.extend(bytes(max(0, offset - len(content))))
    content[offset : offset + len(data)] = data


def do_by_chance(content: bytearray, change: Change, chance: random.Random) -> None:
    """Make, of an unsynced change, what chance has it."""
    if change.data is None:
        if chance.random() < 0.5:
            do(content, change)
        return
    start, end = change.offset, change.offset + len(change.data)
    while start < end:
        stop = min(end, (start // SECTOR + 1) * SECTOR)
        fate = chance.randrange(3)
        if fate == 0:
            put(content, start, change.data[start - change.offset : stop - change.offset])
        elif fate == 1:
            put(content, start, chance.randbytes(stop - start))
        start = stop


@dataclass(slots=True)
class File:
    synced: bytearray = field(default_factory=bytearray)
    live: bytearray = field(default_factory=bytearray)
    changes: list[Change] = field(default_factory=list)

    def change(self, change: Change) -> None:
        do(self.live, change)
        self.changes.append(change)

    def sync(self, failed: bool, chance: random.Random) -> None:
        if failed:
            for change in self.changes:
                change.doomed = True
            return
        for change in self.changes:
            if change.doomed:
                do_by_chance(self.synced, change, chance)
            else:
                do(self.synced, change)
        self.changes.clear()

    def after_a_cut(self, chance: random.Random) -> bytes:
        """Everything unsynced lost, everything kept, or each sector as chance has it."""
        content, manner = bytearray(self.synced), chance.randrange(4)
        for change in self.changes if manner else ():
            if manner == 1 and not change.doomed:
                do(content, change)
            else:
                do_by_chance(content, change, chance)
        return bytes(content)


@dataclass(slots=True)
class Folder:
    synced: dict[str, "File | Folder"] = field(default_factory=dict)
    live: dict[str, "File | Folder"] = field(default_factory=dict)
    changes: list[dict[str, "File | Folder"]] = field(default_factory=list)
    """The names after each change that is not synced."""

    def changed(self) -> None:
        self.changes.append(dict(self.live))

    def sync(self, failed: bool, _: random.Random) -> None:
        if not failed:
            self.synced = dict(self.live)
            self.changes.clear()

    def after_a_cut(self, chance: random.Random) -> dict[str, "File | Folder"]:
        return chance.choice([self.synced, *self.changes])


class Disk:
    """A folder on a disk, as the process sees it and as it would be after a power cut."""

    def __init__(self, root: Path, chance: random.Random) -> None:
        self.root = root
        self.top = _load(root)
        self.said = b""
        self._chance = chance
        self._open: dict[int, File | Folder] = {}

    def follow(self, event: Event) -> None:
        """Let happen what the process did."""
        if event.what == "!":
            self.said += event.data
        elif event.what == "o":
            self._open[event.file] = self._opened(Path(event.name), event.offset > 0)
        elif event.what == "c":
            self._open.pop(event.file)
        elif event.what == "s":
            self._open[event.file].sync(event.failed, self._chance)
        elif event.what in "wt":
            file = self._open[event.file]
            assert isinstance(file, File)
            is_write = event.what == "w"
            at = event.offset if is_write else event.length
            file.change(Change(at, event.data if is_write else None))
        else:
            self._rename(event)

    def _opened(self, path: Path, cut: bool) -> "File | Folder":
        if path == self.root:
            return self.top
        folder = self._folder(path.parent)
        if path.name not in folder.live:
            folder.live[path.name] = File()
            folder.changed()
        found = folder.live[path.name]
        if cut and isinstance(found, File):
            found.change(Change(0, None))
        return found

    def _rename(self, event: Event) -> None:
        path = Path(event.name)
        folder = self._folder(path.parent)
        if event.what == "m":
            folder.live[path.name] = Folder()
        elif event.what == "u":
            del folder.live[path.name]
        else:
            other = Path(event.data.decode())
            assert other.parent == path.parent, "a rename into another folder is not modelled"
            folder.live[other.name] = folder.live.pop(path.name)
        folder.changed()

    def _folder(self, path: Path) -> Folder:
        folder = self.top
        for name in path.relative_to(self.root).parts:
            below = folder.live[name]
            assert isinstance(below, Folder)
            folder = below
        return folder

    def as_seen(self) -> dict[str, bytes]:
        """What the process would read from each file."""
        return dict(_files(self.top, "", lambda d: d.live, lambda f: bytes(f.live)))

    def after_a_cut(self, chance: random.Random) -> dict[str, bytes]:
        """What is found when the power comes back."""
        return dict(
            _files(self.top, "", lambda d: d.after_a_cut(chance), lambda f: f.after_a_cut(chance))
        )


def lay_out(files: dict[str, bytes], root: Path) -> None:
    """Write the files below a folder that is not there yet."""
    root.mkdir(parents=True)
    for name, content in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _files(folder: Folder, below: str, names, content) -> Iterator[tuple[str, bytes]]:  # type: ignore[no-untyped-def]
    for name, found in names(folder).items():
        if isinstance(found, Folder):
            yield from _files(found, f"{below}{name}/", names, content)
        else:
            yield below + name, content(found)


def _load(path: Path) -> Folder:
    names: dict[str, File | Folder] = {}
    for below in sorted(path.iterdir()):
        if below.is_dir():
            names[below.name] = _load(below)
        else:
            raw = below.read_bytes()
            names[below.name] = File(bytearray(raw), bytearray(raw))
    return Folder(names, dict(names))
