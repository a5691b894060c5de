"""Building `shim.c`, running a process behind it, and its switches from within."""

import ctypes
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
WRITES, SYNCS = 1, 2
FOREVER = 1 << 40


def build(folder: Path) -> Path:
    """Compile the shim; Debian's gcc and libc6-dev."""
    library = folder / "shim.so"
    subprocess.run(
        ["/usr/bin/gcc", "-shared", "-fPIC", "-O1", "-Wall", "-Wextra", "-Werror",
         "-o", str(library), str(HERE / "shim.c"), "-lpthread"],
        check=True,
    )  # fmt: skip
    return library


def run_behind(library: Path, *command: str) -> "subprocess.CompletedProcess[str]":
    """Run a Python script to its end with the shim before the disk; what it says is kept."""
    environment = {
        **os.environ,
        "LD_PRELOAD": str(library),
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    done = subprocess.run(
        [sys.executable, *command], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done


class Switches:
    """Within a process behind the shim."""

    def __init__(self) -> None:
        self._shim = ctypes.CDLL(None)
        self._shim.shim_failed.restype = ctypes.c_long
        self._shim.shim_fail.argtypes = [
            ctypes.c_int, ctypes.c_long, ctypes.c_long, ctypes.c_int,
        ]  # fmt: skip
        self._trace = -1

    def watch(self, folder: Path, trace: Path) -> None:
        """Trace what happens below a folder, from now on and into this file."""
        if self._trace >= 0:
            os.close(self._trace)
        self._trace = os.open(trace, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        self._shim.shim_watch(os.fsencode(folder), self._trace)

    def fail(self, kinds: int, first: int, count: int, error: int) -> None:
        """Have `count` calls of these kinds fail, after `first` that do not."""
        self._shim.shim_fail(kinds, first, first + count, error)

    def heal(self) -> None:
        """Nothing fails any more."""
        self._shim.shim_fail(0, 0, 0, 0)

    @property
    def failed(self) -> int:
        """How many calls failed since `fail`."""
        return int(self._shim.shim_failed())
