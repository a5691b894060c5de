"""The focus field, looked at for half a second from three metres: how large it is to the eye.

A letter of the 6/6 line subtends 5 arc-minutes, and its strokes 1 (closed form of the eye chart,
ISO 8596 in clause 3 as remembered). At that size one reads with patience; what has to be caught in
half a second is kept well above it. How it was looked at: docs/explanation/three-metres.md.
"""

import json
import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Browser, Page, WebSocketRoute, expect

from tests.browser.benches import PASSED_FIRST, Running
from tests.browser.conftest import PATIENCE_MS
from tests.browser.waits import comes_to

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]

DISTANCE_MM = 3000.0
WIDE, HIGH = 1180, 820
PIXEL_MM = 10.0 * 25.4 / math.hypot(WIDE, HIGH)
"""A tablet of 10 inches across its corners."""
CHART_ARCMIN = 5.0
LEAST_ARCMIN = {
    "bench": {
        "track": 16.0, "number": 16.0, "arrow": 17.0, "way": 6.0, "verdict": 6.0, "mark": 9.0,
    },
    "practice": {
        "track": 14.0, "number": 14.0, "arrow": 14.0, "way": 5.0, "verdict": 5.0, "mark": 9.0,
    },
}  # fmt: skip
"""Digits by their height, words by that of an x: the least part that tells them apart."""

ADVICE: dict[str, dict[str, Any]] = {
    "in": {"verdict": "in", "way": 0, "deviation": 0.03},
    "near": {"verdict": "near", "way": 1, "deviation": 0.18},
    "out": {"verdict": "out", "way": -1, "deviation": -1.46},
    "no reading": {"verdict": "no reading", "way": 0, "deviation": None},
}
LINE_UP = {
    "id": "x", "kind": "line-up", "begun_at": "2026-01-01T10:00:00Z", "tracks": 24, "speed_ips": 15,
    "over_bias_db": 3, "over_bias_hz": 10000, "operating_nwb_per_m": 320,
    "calibration_nwb_per_m": 320, "closed": False, "stopped": None, "resumed": 0,
}  # fmt: skip
SIZES = """() => {
  const pen = document.createElement("canvas").getContext("2d");
  const high = (of, text) => {
    const node = document.querySelector(".focus " + of);
    if (!node) return null;
    const style = getComputedStyle(node);
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    return pen.measureText(text).actualBoundingBoxAscent;
  };
  const box = (of) =>
    document.querySelector(".focus " + of)?.getBoundingClientRect().height ?? null;
  return {
    track: high(".who", "1"), number: high(".number", "1"), way: high(".way", "x"),
    verdict: high(".verdict span", "x"), arrow: box(".arrow"), mark: box(".verdict svg"),
  };
}"""
FONTS = "() => Promise.all([...document.fonts].map((font) => font.load())).then(() => true)"
COLOURS = """() => {
  const rgb = (colour) => colour.match(/[\\d.]+/g).slice(0, 3).map(Number);
  return { on: rgb(getComputedStyle(document.querySelector(".verdict")).color),
           ground: rgb(getComputedStyle(document.querySelector(".focus")).backgroundColor) };
}"""
FITS = """() => [...document.querySelectorAll(".focus, .focus *")]
  .filter((of) => of.scrollWidth > of.clientWidth + 1 && of.clientWidth > 0
    && !of.matches(".unseen, svg *")).map((of) => of.className)"""

# Dichromats in linear RGB: Machado, Oliveira and Fernandes 2009, severity 1, as remembered; that
# each row sums to 1, so that grey stays grey, is proved below.
DICHROMATS = {
    "protanope": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                  [-0.003882, -0.048116, 1.051998]],
    "deuteranope": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                    [-0.011820, 0.042940, 0.968881]],
    "tritanope": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                  [0.004733, 0.691367, 0.303900]],
}  # fmt: skip
TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)  # IEC 61966-2-1


def arcmin(high_px: float) -> float:
    """What a height on the tablet subtends at the eye."""
    return 60.0 * math.degrees(2.0 * math.atan(high_px * PIXEL_MM / 2.0 / DISTANCE_MM))


def linear(rgb: list[float]) -> NDArray[np.float64]:
    part = np.array(rgb) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def lab(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE 1976 L*a*b* under D65."""
    ratio = TO_XYZ @ np.clip(light, 0.0, 1.0) / (TO_XYZ @ np.ones(3))
    x, y, z = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


class MadeUp:
    """A page whose meters say what the test wants."""

    def __init__(self, page: Page, bench: Running, room: str) -> None:
        state = bench.get("/api/state")
        state |= {"lineup": LINE_UP, "ask": None}
        # However far the real one has come with starting, or if it has to start again.
        state["bench"] |= {"engine": "running", "line": None, "only_zeros": False, "saved": True}
        state["stages"] = [{"name": "bias", "status": "now", "reason": None, "caution": None}]
        told = json.dumps({"seq": 1, "what": "made up", "set": state})
        self._page = page
        self._meters: list[WebSocketRoute] = []
        page.route_web_socket("**/api/sockets/events*", lambda socket: socket.send(told))
        page.route_web_socket("**/api/sockets/meters", lambda socket: self._meters.append(socket))
        page.goto(f"{bench.address}/#{room}")
        expect(page.locator(f".{room}")).to_be_visible()
        comes_to(page, lambda: len(self._meters), lambda count: count > 0)
        page.evaluate(FONTS)  # sizes are told in the page's own letters

    def say(self, of: dict[str, Any]) -> None:
        advice = {
            "trimmer": "bias", "track": 17, "unit": "dB", "spread": 0.02, "wait_s": 1.2,
            "words": "bias 17", "moved_db": 0.4, "to_go_db": None, "back_ratio": None, **of,
        }  # fmt: skip
        focus = {"trimmer": "bias", "track": 17, "by": "bench"}
        self._meters[-1].send(json.dumps({"n": 1, "advice": advice, "focus": focus}))
        field = self._page.locator(".focus.advice")
        expect(field).to_have_attribute("data-verdict", of["verdict"])


def test_the_pixel_and_the_chart_are_what_they_are_called() -> None:
    """A 6/6 letter is 4.4 mm at 3 m; 60 of 1 arc-minute are a degree."""
    letter_mm = 2 * DISTANCE_MM * math.tan(math.radians(CHART_ARCMIN / 60) / 2)
    assert letter_mm == pytest.approx(4.36, abs=0.01)
    assert arcmin(letter_mm / PIXEL_MM) == pytest.approx(CHART_ARCMIN)
    for matrix in DICHROMATS.values():
        assert np.array(matrix).sum(axis=1) == pytest.approx(np.ones(3), abs=3e-6)


def test_a_glance_from_three_metres_is_enough(chromium: Browser, bench: Running) -> None:
    """Every verdict, on Bench and in the narrow field of Practice, in both lights."""
    for light in ("dark", "light"):
        for room in ("bench", "practice"):
            context = chromium.new_context(
                viewport={"width": WIDE, "height": HIGH},
                color_scheme=light,
                reduced_motion="reduce",
            )
            page = context.new_page()
            page.set_default_timeout(PATIENCE_MS)
            page.add_init_script(PASSED_FIRST)
            page.emulate_media(reduced_motion="reduce")
            made = MadeUp(page, bench, room)
            looks: dict[str, dict[str, list[float]]] = {}
            for name, advice in ADVICE.items():
                made.say(advice)
                sizes = page.evaluate(SIZES)
                for part, least in LEAST_ARCMIN[room].items():
                    if sizes[part] is None:
                        assert name == "no reading", f"{part} is missing"
                        continue
                    assert arcmin(sizes[part]) >= max(least, CHART_ARCMIN), (room, name, part)
                assert page.evaluate(FITS) == [], (room, name)
                looks[name] = page.evaluate(COLOURS)
            context.close()
            for eye, matrix in {"usual": np.eye(3), **DICHROMATS}.items():
                seen = {n: lab(np.array(matrix) @ linear(c["on"])) for n, c in looks.items()}
                grounds = {n: lab(np.array(matrix) @ linear(c["ground"])) for n, c in looks.items()}
                for name in looks:  # it stands out from its ground by lightness alone
                    assert abs(seen[name][0] - grounds[name][0]) > 30.0, (light, eye, name)
                for one, other in combinations(("in", "near", "out"), 2):
                    # 2.3 is a just noticeable difference (Mahy 1994, as remembered)
                    assert np.linalg.norm(seen[one] - seen[other]) > 4 * 2.3, (
                        light,
                        eye,
                        one,
                        other,
                    )
