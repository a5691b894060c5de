"""Scenes that need a bench of another kind: a full book, an interface, a network, told states."""

import json
import os
import re
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page, WebSocketRoute

from manual.camera import Camera, browsing, press, screen, state, tablet
from tests.benches.made_interface import OUT_DBU
from tests.browser.benches import ROOT, Running, end
from tests.captures.made import noise, tone, written
from tests.network.people import Bench
from tests.network.rooms import DESK, two_rooms

RATE_HZ = 16_000
SECTIONS = ((1000.0, 0.0, 30.0), (10_000.0, -10.0, 30.0), (16_000.0, -10.0, 20.0),
            (100.0, -10.0, 20.0), (60.0, -10.0, 15.0))  # fmt: skip


def _keep(page: Page, kind: str, **facts: Any) -> None:
    body = {"id": uuid.uuid4().hex, "facts": facts}
    answer = page.request.post(page.url.partition("#")[0] + f"api/book/{kind}", data=body)
    assert answer.ok, answer.text()


def studio(camera: Camera) -> None:
    """What a book of two years shows."""
    page = camera.page
    _keep(page, "reels", name="Evening, 1 of 2", title="An evening", recorded="2025-11-04",
          deck="demo-deck-mixing", speed_ips=15.0, t2_us=35.0, operating_fluxivity_nwb_per_m=320.0,
          tails_out=True, track_names=["left", "right"],
          tones=[{"frequency_hz": 1000.0, "level_db": 0.0, "seconds": 30.0},
                 {"frequency_hz": 10_000.0, "level_db": -10.0, "seconds": 30.0}])  # fmt: skip
    _keep(page, "tapes", name="Calibration tape C", speed_ips=15.0, fluxivity_nwb_per_m=320.0,
          t2_us=35.0, sections=[{"frequency_hz": hz, "level_db": level, "seconds": long,
          "correction_db": 0.1} for hz, level, long in SECTIONS])  # fmt: skip
    for name, key, buttons in (
        ("decks", "d", ()),
        ("deck-form", "d", ("Edit the five answers",)),
        ("tapes", "t", ("Calibration", "Calibration tape C")),
        ("stock", "t", ("Stock",)),
        ("reel", "t", ("Reels",)),
        ("history", "h", ()),
        ("history-trimmer", "h", ("Reproduce high end",)),
    ):
        screen(page, key, *buttons)
        camera.draw(name)
        if name == "deck-form":
            press(page, "Leave it as it was")


def captures(camera: Camera) -> None:
    """A transfer of two tracks, the second 0.8 dB low, measured."""
    page = camera.page
    tones = tone(2.0, RATE_HZ, 1000.0, (-18.0, -18.8), delays_us=(0.0, 0.0))
    blank = noise(2.0, RATE_HZ, -70.0, tracks=2)
    file = written(camera.to / "side A.wav", np.concatenate([blank, tones, blank]), RATE_HZ)
    screen(page, "c")
    page.get_by_label("Path of the file on that computer").fill(str(file))
    press(page, "15 in/s")
    press(page, "Add and measure it")
    page.get_by_role("region", name="side A.wav").get_by_text("track 2 0.4 dB low").first.wait_for()
    page.wait_for_timeout(1000)
    camera.draw("capture")
    file.unlink()


TOLD: dict[str, Any] = {
    "id": "x", "kind": "line-up", "begun_at": "2026-01-01T10:00:00Z", "tracks": 24, "speed_ips": 15,
    "over_bias_db": 3, "over_bias_hz": 10000, "operating_nwb_per_m": 320,
    "calibration_nwb_per_m": 320, "closed": False, "stopped": None, "resumed": 0,
}  # fmt: skip


def told(camera: Camera) -> None:
    """What a practice deck of four does not bring about: 24 tracks, and what goes wrong apart."""
    page = camera.page
    now = state(page) | {"lineup": None, "ask": None}
    sockets: list[WebSocketRoute] = []
    meters: list[WebSocketRoute] = []
    page.route_web_socket("**/api/sockets/events*", lambda one: sockets.append(one))
    page.route_web_socket("**/api/sockets/meters", lambda one: meters.append(one))

    def say(at: str, **new: Any) -> None:
        page.goto("about:blank")
        page.goto(f"{at}#bench")
        page.wait_for_timeout(1500)
        sockets[-1].send(json.dumps({"seq": 1, "what": "told", "set": now | new}))
        page.wait_for_timeout(500)

    at = page.url.partition("#")[0]
    bench = now["bench"] | {"engine": "running"}
    say(at, bench=bench | {"only_zeros": True})
    camera.draw("bar-zeros")
    say(at, bench=bench | {"saved": False})
    camera.draw("bar-book")
    done = [{"name": "close", "status": "done", "reason": None, "caution": None}]
    say(at, lineup=TOLD | {"closed": True}, stages=done, bench=bench)
    camera.draw("closed")
    stages = [{"name": "bias", "status": "now", "reason": None, "caution": None}]
    say(at, lineup=TOLD, stages=stages, bench=bench)
    meters[-1].send(json.dumps(_bias_of_24()))
    page.wait_for_timeout(1500)
    camera.draw("twenty-four")
    lost = {"seq": 2, "what": "bench", "set": {"bench": bench | {"gaps": bench["gaps"] + 9}}}
    sockets[-1].send(json.dumps(lost))
    page.wait_for_timeout(300)
    camera.draw("bar-frames")
    say(at, lineup=TOLD, stages=stages, bench=bench | {"engine": "lost", "only_zeros": True,
        "saved": False})  # fmt: skip
    camera.draw("bar-all")


def _bias_of_24() -> dict[str, Any]:
    """Half of the tracks are set, the hand is at the thirteenth."""
    off = [round(0.03 * ((7 * n) % 5 - 2), 3) for n in range(12)]
    off += [round(0.21 * ((5 * n) % 17 - 8), 2) for n in range(12)]
    verdicts = ["in" if abs(one) <= 0.25 else "near" if abs(one) <= 0.5 else "out" for one in off]
    advice = {
        "trimmer": "bias", "track": 13, "unit": "dB", "verdict": verdicts[12], "way": -1,
        "deviation": off[12], "spread": 0.02, "wait_s": 1.2, "words": "bias 13: lower by 1.68 dB",
        "moved_db": 0.4, "to_go_db": None, "back_ratio": None, "from_found": 0.4,
        "goes_back": False,
    }  # fmt: skip
    board = {
        "trimmer": "bias", "unit": "dB", "reading": [-3.0 - one for one in off],
        "target": [-3.0] * 24, "deviation": off, "spread": [0.02] * 24, "verdict": verdicts,
        "hold": 0.15, "set": 0.25,
    }  # fmt: skip
    tape = {"running": True, "counted_s": 341.0, "position_s": 200.0, "left_s": 880.0,
            "needs_s": 300.0, "section": None}  # fmt: skip
    return {
        "n": 1, "t": 341.0, "stage": "bias", "advice": advice, "board": board, "tape": tape,
        "focus": {"trimmer": "bias", "track": 13, "by": "hand"},
        "progress": {"done": 12, "due": 24},
        "sending": [{"frequency_hz": 10_000.0, "level_db": -20.0},
                    {"frequency_hz": 1000.0, "level_db": -30.0}],
    }  # fmt: skip


@contextmanager
def _desk_bench(book: Path) -> Iterator[Running]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.browser.desk_bench", str(book)],
        cwd=ROOT, env={**os.environ, "FLUXBENCH_TEST_BLOCK_S": "0.004"},
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        with process.stdout as said:
            found = re.search(r"http://\S+", said.readline())
            assert found, "the bench did not start"
            yield Running(found[0], book, process)
    finally:
        end(process.pid)
        process.wait(20.0)


def interfaces(home: Path, to: Path) -> None:
    """An interface that the computer shows, in the book, under a meter, and calibrated."""
    with _desk_bench(home / "book.db") as bench, browsing() as browser:
        page = tablet(browser, f"{bench.address}/#tapes")
        camera = Camera(page, to)
        press(page, "Interfaces")
        camera.draw("interfaces-shown")
        press(page, "Keep in the book: desk")
        camera.draw("interface")
        meter = page.get_by_role("region", name="Calibrate in dBu")
        meter.get_by_role("button", name="Agreed: begin").click()
        for n in (1, 2):
            row = meter.locator("form").filter(has_text=f"Output {n}")
            row.get_by_role("button", name="Send the tone").click()
            row.get_by_role("button", name="Tone stands: stop").wait_for()
            row.get_by_label(f"What the meter reads at output {n}").fill(
                f"{OUT_DBU[n - 1] - 14:.2f}"
            )
            row.get_by_role("button", name="Take").click()
            row.get_by_text("full scale").wait_for()
        meter.scroll_into_view_if_needed()
        camera.draw("interface-meter")
        meter.get_by_label("Meter, and who vouches for it").fill("bench meter 2")
        meter.get_by_role("button", name="Keep in the book").click()
        meter.get_by_text("Kept in the book.").wait_for()
        meter.get_by_role("button", name="End it").click()
        page.wait_for_timeout(1500)
        page.reload()
        page.wait_for_timeout(2000)
        press(page, "Interfaces")
        camera.draw("interface-calibrated")
        page.keyboard.press("b")
        page.wait_for_timeout(1000)
        camera.draw("bench-by-book")


def network(home: Path, to: Path) -> None:
    """Pairing, the list of devices, and who holds the controls, on a network of namespaces."""
    with two_rooms() as (desk, _):
        bench = Bench(desk, home / "book.db", home / "log")
        try:
            bench.start()
            enter = home / "chromium"
            inside = " ".join(desk.inside("/usr/bin/chromium"))
            enter.write_text(f'#!/bin/sh\nexec {inside} "$@"\n')
            enter.chmod(0o755)
            with browsing(enter) as browser:
                at_desk = tablet(browser, f"http://127.0.0.1:{bench.port}/")
                _pair(at_desk, f"http://{DESK}:{bench.port}/", to)
        finally:
            bench.end()


def _pair(desk: Page, address: str, to: Path) -> None:
    at_desk = Camera(desk, to)
    browser = desk.context.browser
    assert browser is not None
    desk.locator(".who-holds").click()
    desk.wait_for_timeout(1500)
    at_desk.draw("devices-none")
    for n, name in enumerate(("Tablet at the deck", "A phone with a name of quite some length")):
        if n:
            desk.get_by_role("button", name=re.compile("Draw a code|Another code")).first.click()
            desk.wait_for_timeout(1000)
        code = desk.locator(".digits").inner_text().replace(" ", "")
        page = tablet(browser, f"{address}#pair={code}")
        camera = Camera(page, to)
        if n == 0:
            camera.draw("pair")
        page.get_by_label("What this device is called").fill(name)
        press(page, "Pair this device")
        page.wait_for_timeout(2000)
        if n == 0:
            camera.draw("watching")
            press(page, "Ask for the controls")
            at_desk.draw("devices-asked")
            camera.draw("asking")
            page.locator(".who-holds").click()
            page.wait_for_timeout(1000)
            camera.draw("own-device")
    at_desk.draw("devices")
