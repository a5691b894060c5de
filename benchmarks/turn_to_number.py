"""From the turn of a trimmer to its number on a client of the meters socket.

A bench with the practice deck in processes of their own; a reproduce trimmer is turned, with the
calibration tape playing, so that no head spacing lies between. A turn takes a while: its middle is
compared with the moment at which the level shown has gone half of its way. Half a window of the
meters (0.1 s) is taken off. Prints median and 99th percentile in ms; must be at most 60, aim 45.
"""

import argparse
import json
import re
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

from websockets.sync.client import connect

HALF_WINDOW_S = 0.1
TURNS = 0.4
SECONDS_PER_TURN = 1.0  # the practice deck's hands
WATCHED_S = 1.5


def call(address: str, path: str, body: Any) -> Any:
    request = urllib.request.Request(address + path, json.dumps(body).encode())
    request.add_header("Content-Type", "application/json")
    with urllib.request.urlopen(request, timeout=20.0) as answer:
        return json.load(answer)


def latency_s(address: str, socket: Any, way: int, number: int, track: int) -> float | None:
    """One turn; None if it moved the level too little to tell."""
    body = {"id": f"turn-{number}", "trimmer": "reproduce_level", "turns": way * TURNS,
            "track": track}  # fmt: skip
    asked_s = time.monotonic()
    call(address, "/api/deck/turn", body)
    begun_s = (asked_s + time.monotonic()) / 2
    points: list[tuple[float, float]] = []
    while time.monotonic() - begun_s < WATCHED_S:
        message = json.loads(socket.recv(timeout=5.0))
        level = message["level_db"][0][track - 1]
        if level is not None:
            points.append((time.monotonic() - begun_s, level))
    before = points[0][1]
    after = statistics.fmean(level for t, level in points if t > WATCHED_S - 0.5)
    if abs(after - before) < 0.15:
        return None
    half = (before + after) / 2
    side = 1.0 if after > before else -1.0
    passed_s = next(t for t, level in points if side * (level - half) >= 0.0)
    return passed_s - TURNS * SECONDS_PER_TURN / 2 - HALF_WINDOW_S


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tracks", type=int, default=24)
    parser.add_argument("--turns", type=int, default=100)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        bench = subprocess.Popen(
            [
                sys.executable, "-m", "fluxbench", "serve", "--no-browser", "--port", "0",
                "--tracks", str(given.tracks), "--book", str(Path(folder) / "book.db"),
            ],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert bench.stdout is not None
            found = re.search(r"http://\S+", bench.stdout.readline())
            assert found is not None
            report(measured(found[0], given.tracks, given.turns))
        finally:
            bench.terminate()
            bench.wait(20.0)


def measured(address: str, tracks: int, turns: int) -> list[float]:
    found: list[float] = []
    url = address.replace("http", "ws") + "/api/sockets/meters"
    with connect(url, max_size=None) as socket:
        while json.loads(socket.recv())["engine"] != "running":
            pass
        for number in range(turns):
            if number % 12 == 0:  # a section plays for half a minute
                call(address, "/api/deck/load", {"tape": "calibration"})
                call(address, "/api/deck/transport", {"state": "play", "monitor": "reproduce"})
                wait_for_tone(socket)
            latency = latency_s(address, socket, (-1) ** (number // tracks), number,
                                number % tracks + 1)  # fmt: skip
            if latency is not None:
                found.append(latency)
    return found


def wait_for_tone(socket: Any) -> None:
    steady = 0
    while steady < 50:
        level = json.loads(socket.recv())["level_db"][0][0]
        steady = steady + 1 if level is not None and level > -20.0 else 0


def report(found_s: list[float]) -> None:
    ordered = sorted(1000.0 * s for s in found_s)
    worst = ordered[min(len(ordered) - 1, int(0.99 * len(ordered)))]
    print(f"{len(ordered)} turns: median {statistics.median(ordered):.0f} ms, "
          f"99th percentile {worst:.0f} ms, must be 60, aim 45")  # fmt: skip


if __name__ == "__main__":
    main()
