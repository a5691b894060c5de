"""How many times faster than real time a capture is read, and in how much memory.

Run: python benchmarks/read_speed.py [--minutes 1] [--long-minutes 10] [--hour]
Writes captures of 24 tracks, 96 kHz, 24 bit (1 kHz, 10 kHz, 100 Hz, 3150 Hz, noise; flutter and
noise on all) into a temporary directory and reads them in processes of their own, start-up apart.
Beside `fluxbench read` stand a bare decode by the sound-file library in one thread and, where they
are installed, `sox stats` and `ffmpeg astats`: ratios of one run, of the time on the wall and of
the processors' time, which a busy machine stretches less. `--hour` needs 25 GB of room; memory is
told on Linux.

Must: 30 x real time on 2 cores, 300 MB at any length. Aim: 60 x, and half of the bare decode.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile  # type: ignore[import-untyped]
from numpy.typing import NDArray

TRACKS, RATE_HZ = 24, 96_000
MUST_RATIO, MUST_MB = 30.0, 300.0
PARTS_HZ = (1000.0, 10_000.0, 100.0, 3150.0, 0.0)
"""One after the other, of equal length; 0 is noise alone."""

CHILD = """
import json, pathlib, re, sys, time
begun = time.perf_counter()
import fluxbench.cli
from fluxbench.captures import line_of, read_capture
started, used = time.perf_counter(), time.process_time()
line = line_of(read_capture(sys.argv[1]))
told = pathlib.Path("/proc/self/status").read_text()
print(json.dumps({
    "start_s": started - begun, "wall_s": time.perf_counter() - started,
    "cpu_s": time.process_time() - used,
    "mb": int(re.search(r"VmHWM:\\s+(\\d+) kB", told)[1]) / 1024,
    "kinds": [section["kind"] for section in line["sections"]],
}))
"""


@dataclass(frozen=True, slots=True)
class Taken:
    """Time on the wall and of all processors, in s."""

    wall_s: float
    cpu_s: float


def write(path: Path, seconds: float) -> None:
    """Write the capture in pieces of a second."""
    random = np.random.default_rng(1)
    hiss = random.standard_normal((RATE_HZ + 997, TRACKS)).astype(np.float32) * 1e-4
    part_s = seconds / len(PARTS_HZ)
    with soundfile.SoundFile(path, "w", RATE_HZ, TRACKS, "PCM_24", format="RF64") as file:
        for second in range(round(seconds)):
            frequency_hz = PARTS_HZ[min(int(second / part_s), len(PARTS_HZ) - 1)]
            from_frame = int(random.integers(997))
            file.write(hiss[from_frame : from_frame + RATE_HZ] + second_of(frequency_hz))


@cache
def second_of(frequency_hz: float) -> NDArray[np.float32]:
    """A second of a tone with flutter of 4 Hz, whole periods of both; nothing for 0 Hz."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    time_s = time_s + 5e-6 * np.sin(2 * np.pi * 4.0 * time_s)
    turn = 2 * np.pi * frequency_hz * (time_s[:, None] - 2e-6 * np.arange(TRACKS))
    return np.asarray(0.1 * np.sin(turn) * (frequency_hz > 0.0), np.float32)


def read(path: Path) -> dict[str, Any]:
    """Read a capture in a process of its own; times in s, memory in MB."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, f"{path}"], capture_output=True, text=True, check=True
    )
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def decoded(path: Path) -> Taken:
    """A bare decode to float32, one thread."""
    begun, used = time.perf_counter(), time.process_time()
    with soundfile.SoundFile(path) as file:
        while len(file.read(1 << 15, dtype="float32")):
            pass
    return Taken(time.perf_counter() - begun, time.process_time() - used)


def commanded(*command: str) -> Taken | None:
    """A command, or None if it is not installed."""
    if shutil.which(command[0]) is None:
        return None
    begun, before = time.perf_counter(), os.times()
    subprocess.run(command, capture_output=True, check=True)
    after = os.times()
    cpu_s = after.children_user + after.children_system
    return Taken(time.perf_counter() - begun, cpu_s - before.children_user - before.children_system)


def show(name: str, taken: Taken | None, seconds: float, ours: Taken) -> None:
    """One line: real time over its time, and its time over ours."""
    if taken is None:
        print(f"{name:14} not installed")
        return
    print(
        f"{name:14} {seconds / taken.wall_s:6.1f} x real time, "
        f"{seconds / taken.cpu_s:6.1f} x in processor time; "
        f"its time over ours {taken.wall_s / ours.wall_s:5.2f} and {taken.cpu_s / ours.cpu_s:5.2f}"
    )


def main() -> None:
    """Print the ratios; exit 1 if one is worse than it must be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--long-minutes", type=float, default=10.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--hour", action="store_true", help="memory of an hour as well")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "short.wav"
        seconds = 60.0 * given.minutes
        write(path, seconds)
        decoded(path)  # into the cache
        reads, decodes = [], []
        for _ in range(given.runs):  # in turns, so that a busy moment meets both
            decodes.append(decoded(path))
            reads.append(read(path))
        best = min(reads, key=lambda told: told["cpu_s"])
        ours = Taken(min(told["wall_s"] for told in reads), best["cpu_s"])
        bare = Taken(min(d.wall_s for d in decodes), min(d.cpu_s for d in decodes))
        print(f"{TRACKS} tracks, {RATE_HZ} Hz, 24 bit, {seconds:.0f} s: {best['kinds']}")
        show("read", ours, seconds, ours)
        print(f"{'':14} start-up of {best['start_s']:.2f} s apart")
        show("bare decode", bare, seconds, ours)
        show("sox stats", commanded("sox", f"{path}", "-n", "stats"), seconds, ours)
        astats = ("ffmpeg", "-i", f"{path}", "-af", "astats", "-f", "null", "-")
        show("ffmpeg astats", commanded(*astats), seconds, ours)
        memory_mb = {seconds: max(told["mb"] for told in reads)}
        path.unlink()
        for minutes in [given.long_minutes, *([60.0] if given.hour else [])]:
            if minutes:
                write(path, 60.0 * minutes)
                memory_mb[60.0 * minutes] = read(path)["mb"]
                path.unlink()
    for length_s, most_mb in memory_mb.items():
        print(f"memory         {most_mb:6.0f} MB for {length_s:.0f} s")
    print(f"must: {MUST_RATIO:g} x and {MUST_MB:g} MB")
    slow = seconds / ours.wall_s < MUST_RATIO
    raise SystemExit(slow or max(memory_mb.values()) > MUST_MB)


if __name__ == "__main__":
    main()
