"""How near rehearsed line-ups come to the ideal, pooled over seeds, and how much tape they take.

Run: python benchmarks/line_up_figures.py                   (guided: 10 seeds at 15 ips, else 3)
     python benchmarks/line_up_figures.py --method needle     (3 seeds at 15 ips)
     python benchmarks/line_up_figures.py --read FILE...      (pools lines that `rehearse` wrote)
"""

import argparse
import json
import subprocess
import sys
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

HEADS = ("record", "reproduce", "sync")
QUANTITIES = {
    "over-bias": ("dB", ("over_bias_db",)),
    "levels": ("dB", tuple(f"{head}_level_db" for head in HEADS)),
    "high ends": ("dB", tuple(f"{head}_high_db" for head in HEADS)),
    "low end": ("dB", ("low_end_db",)),
    "azimuths": ("arc-min", ("reproduce_azimuth_arcmin", "record_azimuth_arcmin")),
}
COURSES = {"guided": ((15.0, 10), (30.0, 3), (7.5, 3)), "needle": ((15.0, 3),)}

Line = Mapping[str, Any]


def rehearse(method: str, speed_ips: float, seed: int, tracks: int) -> Line:
    command = [sys.executable, "-m", "fluxbench", "rehearse", "--json", "--method", method]
    options = {"--tracks": tracks, "--speed": f"{speed_ips:g}", "--seed": seed}
    for name, value in options.items():
        command += [name, str(value)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    line: Line = json.loads(done.stdout.splitlines()[-1])
    return line


def pooled_rms(lines: Iterable[Line], names: tuple[str, ...]) -> float:
    values = [np.ravel(line["residual"][name]) for line in lines for name in names]
    return float(np.sqrt(np.mean(np.concatenate(values) ** 2)))


def show(lines: list[Line]) -> None:
    groups = sorted({(line["method"], line["speed_ips"]) for line in lines})
    for method, speed_ips in groups:
        of_it = [e for e in lines if (e["method"], e["speed_ips"]) == (method, speed_ips)]
        visits = [n for e in of_it for counts in e["visits"].values() for n in counts]
        tape_s = [e["tape_time_s"] for e in of_it]
        ratio = [e["tape_time_s"] / e["wall_s"] for e in of_it]
        print(f"{method}, {speed_ips:g} ips, {len(of_it)} seeds, {of_it[0]['tracks']} tracks:")
        for name, (unit, names) in QUANTITIES.items():
            print(f"  {name}: {pooled_rms(of_it, names):.3f} {unit} rms")
        print(f"  visits a trimmer: {np.mean(visits):.2f}")
        print(f"  tape: {np.mean(tape_s):.0f} s ({min(tape_s):.0f} to {max(tape_s):.0f})")
        print(f"  x real time: {np.mean(ratio):.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--method", choices=COURSES, default="guided")
    parser.add_argument("--tracks", type=int, default=24)
    parser.add_argument("--at-once", type=int, default=2)
    parser.add_argument("--read", type=Path, nargs="+")
    asked = parser.parse_args()
    if asked.read:
        show([json.loads(path.read_text()) for path in asked.read])
        return
    jobs = [(v, seed) for v, seeds in COURSES[asked.method] for seed in range(1, seeds + 1)]
    with ThreadPoolExecutor(asked.at_once) as pool:
        show(list(pool.map(lambda job: rehearse(asked.method, job[0], job[1], asked.tracks), jobs)))


if __name__ == "__main__":
    main()
