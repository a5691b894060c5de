"""How fast an archive is catalogued, by one worker and by two, and in how much memory.

Run: python benchmarks/catalogue_speed.py [--captures 24] [--seconds 60] [--runs 3] [--many 200]
Writes captures of 2 tracks, 48 kHz, 24 bit (tones of a line-up with flutter, hiss, and noise that
comes and goes for programme) into a temporary directory and catalogues them anew each time, one
worker and two in turns, the best of each; the time of an empty run, start-up, is taken off. Beside
them stands a bare decode by the sound-file library in one thread: ratios of one run. The load of
the machine when it began is told: with other work beside it two workers cannot be twice as fast.
Memory is that of the largest process, with ten captures and with many.

Must: two workers 1.8 times as fast as one (0.9 of linear); memory of many within a tenth of that of
ten.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile  # type: ignore[import-untyped]

TRACKS, RATE_HZ = 2, 48_000
TONES_HZ = (1000.0, 10_000.0, 100.0, 3150.0)
TONE_S = 5.0
MUST_SHARE, MUST_GROWTH = 0.9, 1.1

CHILD = """
import json, resource, sys, time
from fluxbench.cli import main
begun = time.perf_counter()
code = main(["catalogue", "--workers", sys.argv[1], "--to", sys.argv[2], *sys.argv[3:]])
own, theirs = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps({
    "code": code, "wall_s": time.perf_counter() - begun,
    "cpu_s": sum(each.ru_utime + each.ru_stime for each in (own, theirs)),
    "own_mb": own.ru_maxrss / 1024, "worker_mb": theirs.ru_maxrss / 1024,
}))
"""


def write(path: Path, seconds: float, seed: int) -> None:
    """Write one capture; no two are alike."""
    random = np.random.default_rng(seed)
    frames = round(seconds * RATE_HZ)
    time_s = np.arange(frames) / RATE_HZ
    swell = np.abs(np.sin(2.0 * np.pi * 0.7 * time_s))
    wave = 0.1 * swell[:, None] * random.standard_normal((frames, TRACKS))
    for number, hz in enumerate(TONES_HZ):
        first, last = (round((TONE_S + 0.5) * k * RATE_HZ) for k in (number, number + 1))
        at_s = time_s[first:last] + 5e-6 * np.sin(2.0 * np.pi * 4.0 * time_s[first:last])
        wave[first:last] = 0.1 * np.sin(2.0 * np.pi * hz * at_s)[: len(wave[first:last]), None]
        wave[last - RATE_HZ // 2 : last] = 0.0
    soundfile.write(path, wave + 1e-4 * random.standard_normal(wave.shape), RATE_HZ, "PCM_24")


def catalogued(workers: int, *paths: Path) -> dict[str, Any]:
    """Catalogue anew in a process of its own; times in s, memory in MB."""
    with tempfile.TemporaryDirectory() as out:
        done = subprocess.run(
            [sys.executable, "-c", CHILD, f"{workers}", out, *map(str, paths)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    if told["code"]:
        raise SystemExit(done.stderr)
    return told


def decoded_s(paths: list[Path]) -> float:
    """A bare decode of all to float32, one thread, in s."""
    begun = time.perf_counter()
    for path in paths:
        with soundfile.SoundFile(path) as file:
            while len(file.read(1 << 15, dtype="float32")):
                pass
    return time.perf_counter() - begun


def main() -> None:
    """Print the ratios; exit 1 if one is worse than it must be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--captures", type=int, default=24)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--many", type=int, default=200)
    given = parser.parse_args()
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    print(f"load {load} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{number:03d}.wav" for number in range(given.captures)]
        for seed, path in enumerate(paths):
            write(path, given.seconds, seed)
        short = Path(folder) / "short.wav"
        write(short, 0.5, 1000)
        decoded_s(paths)  # into the cache
        best: dict[int, float] = {}
        cpu_s = start_s = bare_s = float("inf")
        for _ in range(given.runs):  # in turns, so that a busy moment meets all
            bare_s = min(bare_s, decoded_s(paths))
            start_s = min(start_s, catalogued(1, short)["wall_s"])
            for workers in (1, 2):
                told = catalogued(workers, *paths)
                best[workers] = min(best.get(workers, float("inf")), told["wall_s"])
                cpu_s = min(cpu_s, told["cpu_s"])
        sound_s = given.captures * given.seconds
        length = f"{given.captures} captures of {given.seconds:g} s"
        print(f"{length}; start-up of {start_s:.1f} s apart")
        for workers, wall_s in best.items():
            speed = sound_s / (wall_s - start_s)
            print(f"{workers} worker{'s' * (workers > 1):1}   {speed:6.0f} x real time")
        print(f"processor   {sound_s / cpu_s:6.0f} x, start-up within")
        print(f"bare decode {sound_s / bare_s:6.0f} x")
        share = (best[1] - start_s) / (best[2] - start_s) / 2.0
        print(f"two workers {share:6.2f} of linear")
        for path in paths:
            path.unlink()
        memory_mb: dict[int, float] = {}
        for count in (10, given.many):
            for seed in range(count):
                write(Path(folder) / f"{seed:03d}.wav", 6.0, seed)
            told = catalogued(2, Path(folder))
            memory_mb[count] = max(told["own_mb"], told["worker_mb"])
            both = f"{told['own_mb']:6.0f} MB, a worker {told['worker_mb']:.0f} MB"
            print(f"memory      {both}, {count} captures")
    growth = memory_mb[given.many] / memory_mb[10]
    print(f"must: {MUST_SHARE:g} of linear, memory within {MUST_GROWTH:g}")
    raise SystemExit(share < MUST_SHARE or growth > MUST_GROWTH)


if __name__ == "__main__":
    main()
