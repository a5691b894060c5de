"""Does to plain files what the tests of the shim know the outcome of; see `test_shim.py`."""

import os
import sys
from pathlib import Path

from tests.faults.shim import Switches


def main() -> None:
    root, trace = Path(sys.argv[1]), Path(sys.argv[2])
    switches = Switches()
    switches.watch(root, trace)

    def say(word: str) -> None:
        os.write(1, f"{word}\n".encode())

    def sync_folder(folder: Path) -> None:
        handle = os.open(folder, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)

    file = os.open(root / "file", os.O_RDWR | os.O_CREAT, 0o644)
    os.write(file, b"a" * 2048)
    os.fsync(file)
    say("content synced")
    sync_folder(root)
    say("name synced")
    os.pwrite(file, b"b" * 2048, 0)
    say("written over")
    os.fdatasync(file)
    say("synced again")
    os.ftruncate(file, 512)
    say("cut")
    os.fsync(file)
    say("cut synced")
    os.rename(root / "file", root / "renamed")
    say("renamed")
    sync_folder(root)
    os.mkdir(root / "folder")
    inner = os.open(root / "folder" / "inner", os.O_WRONLY | os.O_CREAT, 0o644)
    os.write(inner, b"inner")
    os.fsync(inner)
    sync_folder(root / "folder")
    say("folder made")
    sync_folder(root)
    say("folder synced")
    os.unlink(root / "renamed")
    say("removed")
    sync_folder(root)
    say("removal synced")
    os.write(inner, b" lost")
    switches.fail(2, 0, 1, 5)
    try:
        os.fsync(inner)
    except OSError:
        say("sync failed")
    os.fsync(inner)
    say("sync of nothing")
    os.pwrite(inner, b" kept", 5)
    os.fsync(inner)
    say("written again")
    os.close(inner)
    os.close(file)


main()
