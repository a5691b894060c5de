"""A long evening at the deck: the bench over a real sound server, browsers that watch, lost frames.

Starts a sound server without a card at 96 kHz, the practice deck as another process on it, the
bench joined to both, and browsers that show it. All tracks record a short and a long wave for the
bias of the first one, which nobody turns; whatever else the bench asks for is done at the deck.
Now and then the process that has the samples is stopped for 60 ms, so that frames are lost; each
such loss must be told within 2 s. Prints a JSON line a minute to standard error, and one at the
end: losses made and told, gaps that were told besides with the server's own count of late periods,
memory of the bench's processes by the system's account after the second minute and at the end,
frames a second of each page, and where the focus was.
Run: ``python -m benchmarks.soak [--minutes 60] [--tracks 24] [--losses 30] [--browsers 3]
    [--period 2048] [--priority 50]``
"""

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import jack
import psutil
from playwright.sync_api import Page, sync_playwright

from benchmarks.screens import FRAMES, SIZE
from tests.browser.benches import PASSED_FIRST
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.sound.server import RATE_HZ, SoundServer, end, first_line

STOPPED_S = 0.06
TOLD_WITHIN_S = 2.0
LOOK_S = 0.25
SETTLED_S = 120.0
MB = 2.0**20


class Bench:
    """A bench on the sound server, and a person who does at the deck what it asks for."""

    def __init__(self, server: SoundServer, controls: str, book: Path) -> None:
        command = f"-m fluxbench serve --no-browser --port 0 --interface deck --controls {controls}"
        self.process = subprocess.Popen(
            [sys.executable, *command.split(), "--book", f"{book}"],
            env=server.environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.address = first_line(self.process).split(" ")[1]
        self._done = 0

    def call(self, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.address}/api/{path}", data)
        request.add_header("Content-Type", "application/json")
        with urllib.request.urlopen(request, timeout=30.0) as answer:
            return json.load(answer)

    def command(self, name: str, **fields: Any) -> None:
        self.call("commands", {"id": uuid.uuid4().hex, "command": name, **fields})

    def look(self) -> dict[str, Any]:
        """See the screen, and do what it asks for."""
        state: dict[str, Any] = self.call("state")
        ask = state["ask"]
        if ask is not None and ask["number"] != self._done:
            if ask["kind"] in ("load", "locate", "transport"):
                deck = {k: v for k, v in ask["values"].items() if v is not None}
                self.call(f"deck/{ask['kind']}", deck)
            self.command("acknowledge", ask=ask["number"])
            self._done = ask["number"]
        return state

    def children(self) -> list[psutil.Process]:
        """The bench's own processes, itself first."""
        me = psutil.Process(self.process.pid)
        below = [p for p in me.children() if "resource_tracker" not in " ".join(p.cmdline())]
        return [me, *below]

    def memory_mb(self) -> float:
        return sum(p.memory_info().rss for p in self.children()) / MB

    def lose_frames(self) -> None:
        """Stop the process that has the samples for a moment."""
        samples = self.children()[-1]
        samples.send_signal(signal.SIGSTOP)
        time.sleep(STOPPED_S)
        samples.send_signal(signal.SIGCONT)


def hurry(process: int, priority: int) -> None:
    """Give all threads of a process a real-time priority, so that others on the machine wait."""
    for thread in psutil.Process(process).threads():
        os.sched_setscheduler(thread.id, os.SCHED_FIFO, os.sched_param(priority))


@contextmanager
def late_periods(server: SoundServer) -> Iterator[list[float]]:
    """When the server itself was late."""
    client = jack.Client("watch", no_start_server=True, servername=server.name)
    late: list[float] = []
    client.set_xrun_callback(lambda _: late.append(time.monotonic()))
    with client:
        yield late


def soak(asked: argparse.Namespace, server: SoundServer, home: Path) -> dict[str, Any]:
    """All figures of one run."""
    command = f"-m fluxbench deck --tracks {asked.tracks} --seed 3 --port 0"
    deck, line = server.client(command.split())
    bench = Bench(server, line.rpartition(" ")[2], home / "book.db")
    try:
        with sync_playwright() as started, late_periods(server) as late:
            browser = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            pages = [
                _page(browser.new_context(viewport=SIZE), bench) for _ in range(asked.browsers)
            ]
            if asked.priority:
                while bench.look()["bench"]["engine"] != "running":
                    time.sleep(LOOK_S)
                ours = (process.pid for process in reversed(bench.children()))
                for n, one in enumerate((server.process.pid, os.getpid(), deck.pid, *ours)):
                    hurry(one, asked.priority - n)
            bench.command("begin", kind="part", stages=["bias"])
            return _evening(asked, bench, pages, late)
    finally:
        end(bench.process)


def _page(context: Any, bench: Bench) -> Page:
    context.add_init_script(PASSED_FIRST)
    page: Page = context.new_page()
    page.goto(bench.address)
    return page


def _evening(
    asked: argparse.Namespace, bench: Bench, pages: list[Page], late: list[float]
) -> dict[str, Any]:
    begin_s = time.monotonic()
    while bench.look()["ask"] is not None or time.monotonic() - begin_s < 20.0:
        time.sleep(LOOK_S)
    begin_s, end_s = time.monotonic(), time.monotonic() + 60.0 * asked.minutes
    gaps_before, late_before = int(bench.look()["bench"]["gaps"]), len(late)
    every_s = 60.0 * asked.minutes / (asked.losses + 1)
    made = told = told_gaps = 0
    settled_mb, frames = None, []
    next_minute_s = begin_s
    while (now_s := time.monotonic()) < end_s:
        state = bench.look()
        if now_s - begin_s > (made + 1) * every_s and made < asked.losses and state["ask"] is None:
            gaps = int(state["bench"]["gaps"])
            bench.lose_frames()
            made += 1
            time.sleep(TOLD_WITHIN_S)
            rose = int(bench.look()["bench"]["gaps"]) - gaps
            told, told_gaps = told + (rose > 0), told_gaps + rose
        if now_s >= next_minute_s:
            next_minute_s += 60.0
            page = pages[len(frames) % len(pages)]
            frames.append(round(page.evaluate(FRAMES, 5.0)["frames_per_s"], 1))
            if settled_mb is None and now_s - begin_s >= min(SETTLED_S, 30.0 * asked.minutes):
                settled_mb = bench.memory_mb()
            minute = {
                "minute": round((now_s - begin_s) / 60.0, 1), "made": made, "told": told,
                "gaps": int(state["bench"]["gaps"]) - gaps_before, "memory_mb":
                round(bench.memory_mb(), 1), "frames_per_s": frames[-1],
            }  # fmt: skip
            print(json.dumps(minute), file=sys.stderr, flush=True)
        time.sleep(LOOK_S)
    state = bench.look()
    return {
        "minutes": asked.minutes, "tracks": asked.tracks, "rate_hz": RATE_HZ,
        "period_frames": asked.period,
        "browsers": len(pages), "losses_made": made, "losses_told": told,
        "gaps_besides": int(state["bench"]["gaps"]) - gaps_before - told_gaps,
        "late_periods_of_the_server": len(late) - late_before,
        "memory_mb": {"settled": settled_mb, "at_the_end": bench.memory_mb()},
        "frames_per_s": {"median": sorted(frames)[len(frames) // 2], "least": min(frames)},
        "engine": state["bench"]["engine"], "focus": state.get("focus"),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--tracks", type=int, default=24)
    parser.add_argument("--losses", type=int, default=30)
    parser.add_argument("--browsers", type=int, default=3)
    parser.add_argument("--period", type=int, default=2048, help="frames, of the sound server")
    parser.add_argument("--priority", type=int, default=0, help="real-time, of all on the server")
    asked = parser.parse_args()
    server = SoundServer(asked.period)
    try:
        with tempfile.TemporaryDirectory() as home:
            print(json.dumps(soak(asked, server, Path(home))))
    finally:
        server.stop()


if __name__ == "__main__":
    main()
