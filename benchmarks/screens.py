"""Page size, time to the first meters, and frames a second of the screens on 24 tracks.

Run as `python -m benchmarks.screens`; needs Chromium, and the screens built. The bench is the real
one with a practice deck of 24 tracks; the page is timed in a browser without a graphics processor.
Budgets: at most 120 kB compressed for whichever screen is opened, first meters within 0.5 s, 60
frames a second.
"""

import argparse
import json
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from tests.browser.benches import PASSED_FIRST, serving
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.fetched import fetched_kb

SIZE = {"width": 1280, "height": 800}
FRAMES = """(seconds) => new Promise((done) => {
  const times = [];
  const step = (now) => {
    times.push(now);
    if (now - times[0] < 1000 * seconds) requestAnimationFrame(step);
    else {
      const gaps = times.slice(1).map((t, i) => t - times[i]).sort((a, b) => a - b);
      done({
        frames_per_s: 1000 * gaps.length / (times.at(-1) - times[0]),
        median_ms: gaps[gaps.length >> 1],
        p99_ms: gaps[Math.floor(0.99 * gaps.length)],
        drawing_ms: window.fluxbenchTiming.drawn.worst_ms,
      });
    }
  };
  requestAnimationFrame(step);
})"""


def first_meters_ms(page: Page, address: str) -> float:
    """From the start of the navigation to the second frame after the first meters, cold."""
    page.goto(address)
    page.wait_for_function("Number.isFinite(window.fluxbenchTiming?.first_meters_ms)")
    return float(page.evaluate("window.fluxbenchTiming.first_meters_ms"))


def measure(seconds: float, tracks: int) -> dict[str, Any]:
    """All figures of one run."""
    with (
        tempfile.TemporaryDirectory() as home,
        serving(Path(home) / "book.db", tracks) as bench,
        sync_playwright() as started,
    ):
        # Playwright waits by code of its own, which the page's policy forbids: hence bypass_csp.
        browser = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        firsts = []
        for _ in range(5):
            context = browser.new_context(viewport=SIZE, bypass_csp=True)
            context.add_init_script(PASSED_FIRST)
            page = context.new_page()
            firsts.append(first_meters_ms(page, bench.address))
            context.close()
        context = browser.new_context(viewport=SIZE, bypass_csp=True)
        context.add_init_script(PASSED_FIRST)
        page = context.new_page()
        first_meters_ms(page, bench.address)
        sizes_kb = fetched_kb(browser, bench.address)
        page.get_by_role("button", name="Begin the line-up").click()
        plain = page.evaluate(FRAMES, seconds)
        slow = context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": 6})
        throttled = page.evaluate(FRAMES, seconds)
        browser.close()
    return {
        "tracks": tracks,
        "page_kb": sizes_kb,
        "first_meters_ms": {"median": sorted(firsts)[2], "worst": max(firsts)},
        "frames": plain,
        "frames_at_a_sixth": throttled,
    }


def main() -> None:
    """Print one line of JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--tracks", type=int, default=24)
    given = parser.parse_args()
    print(json.dumps(measure(given.seconds, given.tracks)))


if __name__ == "__main__":
    main()
