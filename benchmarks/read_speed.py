"""How many times faster than real time a capture is read, and in how much memory.

Run: python benchmarks/read_speed.py [--minutes 1] [--long-minutes 10]
Writes captures of 24 tracks, 96 kHz, 24 bit (1 kHz, 10 kHz, 100 Hz, 3150 Hz, noise; flutter and
noise on all) into a temporary directory, reads the short one with `fluxbench read` in a process of
its own, start-up apart, and the long one for its memory alone. Beside them stand a bare decode by
the sound-file library in one thread and, where they are installed, `sox stats` and `ffmpeg
astats`: ratios of one run, so that slow and busy machines can be compared.

Must: 30 x real time on 2 cores, 300 MB at any length. Aim: 60 x, and half of the bare decode.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile  # type: ignore[import-untyped]

TRACKS, RATE_HZ = 24, 96_000
MUST_RATIO, MUST_MB = 30.0, 300.0
PARTS_HZ = (1000.0, 10_000.0, 100.0, 3150.0, 0.0)
"""One after the other, of equal length; 0 is noise alone."""

CHILD = """
import json, sys, time, resource
begun = time.perf_counter()
import fluxbench.cli
from fluxbench.captures import line_of, read_capture
started = time.perf_counter()
line = line_of(read_capture(sys.argv[1]))
done = time.perf_counter()
used = resource.getrusage(resource.RUSAGE_SELF)
print(json.dumps({
    "start_s": started - begun, "read_s": done - started, "cpu_s": used.ru_utime + used.ru_stime,
    "mb": used.ru_maxrss / 1024, "kinds": [section["kind"] for section in line["sections"]],
}))
"""


def write(path: Path, seconds: float) -> None:
    """Write the capture in pieces of a second."""
    random = np.random.default_rng(1)
    hiss = random.standard_normal((RATE_HZ + 997, TRACKS)).astype(np.float32) * 1e-4
    delays = 2e-6 * np.arange(TRACKS)
    part_s = seconds / len(PARTS_HZ)
    with soundfile.SoundFile(path, "w", RATE_HZ, TRACKS, "PCM_24", format="RF64") as file:
        for second in range(round(seconds)):
            time_s = second + np.arange(RATE_HZ) / RATE_HZ
            time_s = time_s + 5e-6 * np.sin(2 * np.pi * 4.0 * time_s)
            frequency_hz = PARTS_HZ[min(int(second / part_s), len(PARTS_HZ) - 1)]
            from_frame = int(random.integers(997))
            block = hiss[from_frame : from_frame + RATE_HZ].copy()
            if frequency_hz:
                turn = 2 * np.pi * frequency_hz * (time_s[:, None] - delays)
                block += 0.1 * np.sin(turn, dtype=np.float64).astype(np.float32)
            file.write(block)


def read(path: Path) -> dict[str, float]:
    """Read a capture in a process of its own; times in s, memory in MB."""
    import json

    done = subprocess.run(
        [sys.executable, "-c", CHILD, f"{path}"], capture_output=True, text=True, check=True
    )
    told: dict[str, float] = json.loads(done.stdout)
    return told


def decode_s(path: Path) -> float:
    """Time of a bare decode to float32, one thread."""
    begun = time.perf_counter()
    with soundfile.SoundFile(path) as file:
        while len(file.read(1 << 15, dtype="float32")):
            pass
    return time.perf_counter() - begun


def command_s(*command: str) -> float | None:
    """Time of a command, or None if it is not installed."""
    if shutil.which(command[0]) is None:
        return None
    begun = time.perf_counter()
    subprocess.run(command, capture_output=True, check=True)
    return time.perf_counter() - begun


def main() -> None:
    """Print the ratios; exit 1 if one is worse than it must be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--long-minutes", type=float, default=10.0)
    parser.add_argument("--runs", type=int, default=3)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        short, long = Path(folder) / "short.wav", Path(folder) / "long.wav"
        seconds = 60.0 * given.minutes
        write(short, seconds)
        decode_s(short)  # into the cache
        reads, decodes = [], []
        for _ in range(given.runs):  # in turns, so that a busy moment meets both
            decodes.append(decode_s(short))
            reads.append(read(short))
        best = min(reads, key=lambda told: told["read_s"])
        bare_s = min(decodes)
        ratio = seconds / best["read_s"]
        print(f"{TRACKS} tracks, {RATE_HZ} Hz, 24 bit, {seconds:.0f} s: {best['kinds']}")
        print(f"read            {ratio:6.1f} x real time, start-up {best['start_s']:.2f} s apart")
        print(
            f"  processor     {seconds / best['cpu_s']:6.1f} x real time on one core, start-up in"
        )
        print(
            f"bare decode     {seconds / bare_s:6.1f} x; read {bare_s / best['read_s']:.2f} of that"
        )
        for name, taken_s in (
            ("sox stats", command_s("sox", f"{short}", "-n", "stats")),
            (
                "ffmpeg astats",
                command_s("ffmpeg", "-i", f"{short}", "-af", "astats", "-f", "null", "-"),
            ),
        ):
            told = "not installed"
            if taken_s is not None:
                told = f"{seconds / taken_s:6.1f} x; read {taken_s / best['read_s']:.2f} of that"
            print(f"{name:15} {told}")
        most_mb = best["mb"]
        print(f"memory          {best['mb']:.0f} MB for {seconds:.0f} s")
        if given.long_minutes:
            write(long, 60.0 * given.long_minutes)
            far = read(long)
            most_mb = max(most_mb, far["mb"])
            print(f"                {far['mb']:.0f} MB for {60.0 * given.long_minutes:.0f} s")
    print(f"must: {MUST_RATIO:g} x and {MUST_MB:g} MB")
    raise SystemExit(ratio < MUST_RATIO or most_mb > MUST_MB)


if __name__ == "__main__":
    main()
