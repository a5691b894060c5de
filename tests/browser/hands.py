"""Hands and eyes of somebody in front of the page: they read what it shows and turn what it has."""

import math
import re
import time
from collections.abc import Callable
from dataclasses import dataclass

from playwright.sync_api import Page

from tests.browser.waits import watch, watched

READ = """() => {
  const text = (name) => document.querySelector('.focus ' + name)?.textContent?.trim() ?? null;
  return {
    kicker: text('.kicker'), big: text('.big'), track: text('.who'), number: text('.number'),
    way: text('.way'), fine: text('.fine'), words: text('.words'),
  };
}"""
WAYS = {"raise": 1, "lower": -1}
GONE_S = 10.0
"""Nobody's trimmer in hand for so long: it is over, and no page that was loaded a moment ago."""
SETTLES_S = 10.0
STILL_DB = 0.03


@dataclass(frozen=True, slots=True)
class Seen:
    """What stands on the page."""

    big: str | None
    track: int | None
    deviation_db: float | None
    way: int
    moved_db: float
    wait_s: float
    words: str


def see(page: Page) -> Seen:
    told = page.evaluate(READ)
    fine = told["fine"] or ""
    moved = re.search(r"moved ([+−]?)([\d.]+) dB", fine)
    wait = re.search(r"in ([\d.]+) s", fine)
    number = re.fullmatch(r"[\d.]+", told["number"] or "")
    way = WAYS.get(told["way"], 0)
    return Seen(
        told["big"],
        int(told["track"]) if (told["track"] or "").isdecimal() else None,
        float(number[0]) * (way or 1) if number else None,
        way,
        (-1 if moved[1] == "−" else 1) * float(moved[2]) if moved else 0.0,
        float(wait[1]) if wait else 0.0,
        told["words"] or "",
    )


def turn(page: Page, trimmer: str, track: int, turns: float) -> None:
    """Drag the screw around its middle, clockwise if positive."""
    dial = page.get_by_role("slider", name=f"{trimmer}, track {track}", exact=True)
    dial.scroll_into_view_if_needed()
    box = dial.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    radius = 0.36 * box["width"]
    page.mouse.move(x + radius, y)
    page.mouse.down()
    steps = max(2, round(abs(turns) * 24))
    for i in range(1, steps + 1):
        angle = 2 * math.pi * turns * i / steps
        page.mouse.move(x + radius * math.cos(angle), y + radius * math.sin(angle))
    page.mouse.up()


class Setting:
    """Sets bias of one track by what the page says: across the peak, then to the target."""

    def __init__(self, page: Page, track: int, pace: float = 1.0) -> None:
        self._page, self._track, self._pace = page, track, pace
        self.verdicts: set[str] = set()
        self.phases: list[int] = []
        self._turns_per_db = 0.0
        self._tried = 0.0
        self._gone_s: float | None = None
        self.story: list[str] = []
        """What was seen and done, for a failure to be read."""

    def done(self, patience_s: float, at_number: Callable[[], None]) -> bool:
        """Go on until the page looks at something else; whether it did.

        `at_number` is done once, when a number stands there first.
        """
        met = False
        end_s = time.monotonic() + patience_s
        self._watch_verdicts()
        while time.monotonic() < end_s:
            now = see(self._page)
            if self._is_past(now):
                self._note_verdicts()
                return True
            if now.track is None:
                self._page.wait_for_timeout(200)
            elif now.deviation_db is None:
                self._seek(now)
            elif not met:
                met = True
                self._note_verdicts()
                at_number()
                self._watch_verdicts()
            elif now.way:
                self._set(now)
            else:
                self._page.wait_for_timeout(300)
        return False

    def _is_past(self, now: Seen) -> bool:
        """Whether the page looks at something else, for good."""
        if now.track is not None:
            self._gone_s = None
            return now.track != self._track
        self._gone_s = self._gone_s or time.monotonic()
        return bool(self.phases) and time.monotonic() - self._gone_s > GONE_S

    def _watch_verdicts(self) -> None:
        """One may stand there for a part of a second only."""
        watch(self._page, ".focus .who", ".focus .verdict span")

    def _note_verdicts(self) -> None:
        told = [text.split(": ") for text in watched(self._page)]
        self.verdicts |= {verdict for track, verdict in told if track == str(self._track)}

    def _turn(self, turns: float) -> float:
        """Turn, not further than a wrist does at once; what was turned."""
        turns = max(-0.45, min(0.45, turns))
        self.story.append(f"{see(self._page).words}: turned {turns:+.3f}")
        turn(self._page, "bias", self._track, turns)
        return turns

    def _seek(self, now: Seen) -> None:
        if not now.way:
            self._page.wait_for_timeout(300)
            return
        if not self.phases or self.phases[-1] != now.way:
            self.phases.append(now.way)
        if self._turns_per_db == 0.0:
            self._tried += self._turn(0.25)
            self._page.wait_for_timeout((1000 * now.wait_s + 600) / self._pace)
            then = see(self._page)
            if abs(then.moved_db) > 0.5:
                self._turns_per_db = self._tried / then.moved_db
            return
        self._turn(0.3 * now.way * self._turns_per_db)
        self._page.wait_for_timeout(250)

    def _settle(self, seconds: float) -> None:
        """Wait as long as the page says, and until the number stands still."""
        self._page.wait_for_timeout(1000 * seconds)
        end_s = time.monotonic() + SETTLES_S
        last = see(self._page).deviation_db
        while time.monotonic() < end_s:
            self._page.wait_for_timeout(300)
            now = see(self._page).deviation_db
            if now is None or last is None or abs(now - last) < STILL_DB:
                return
            last = now

    def _set(self, now: Seen) -> None:
        assert now.deviation_db is not None
        scale = self._turns_per_db or 0.2
        turned = self._turn(now.deviation_db * scale)
        self._settle((now.wait_s + 0.5) / self._pace)
        then = see(self._page)
        if then.track != self._track or then.deviation_db is None:
            return
        moved = now.deviation_db - then.deviation_db
        if abs(moved) > 0.25 and turned / moved * scale > 0:
            size = min(max(abs(turned / moved), 0.5 * abs(scale)), 1.6 * abs(scale))
            self._turns_per_db = math.copysign(size, scale)
