"""Somebody who lines up the practice deck at the screen: reads what it shows, by finger or by key.

Nothing else is known, of bench or deck. How a trimmer reacts is learned from the page after a turn.
"""

import math
import re
import time
from contextlib import suppress
from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page, TimeoutError

READ = """() => {
  const text = (name) => document.querySelector('.focus ' + name)?.textContent?.trim() ?? '';
  return {
    kind: document.querySelector('.focus')?.className ?? '', big: text('.big'), who: text('.who'),
    trimmer: text('.trimmer'), number: text('.number'), way: text('.way'),
    words: text('.words'), fine: text('.fine'),
    leans: document.querySelector('.focus .move svg')?.getAttribute('aria-label') ?? '',
    place: document.querySelector('.works .hint')?.textContent ?? '',
    ask: document.querySelector('.asked [data-ask]')?.dataset.ask ?? '',
  };
}"""
TARGET = """(of) => {
  of.scrollIntoView({block: 'center'});
  const box = of.getBoundingClientRect();
  const hits = (right, down) => of.contains(document.elementFromPoint(
    box.x + box.width / 2 + right, box.y + box.height / 2 + down));
  return [[-21.5, 0], [21.5, 0], [0, -21.5], [0, 21.5]].every(([x, y]) => hits(x, y));
}"""
"""Whether a finger has 44 pixels of it, as the page itself takes a touch."""
RING = """(of) => {
  if (of !== document.activeElement) return null;
  const style = getComputedStyle(of);
  return style.outlineStyle === 'solid' && parseFloat(style.outlineWidth) >= 2;
}"""
"""Whether it shows that it has the focus; null if it has not."""
MOST_AT_ONCE, MOST_SOUGHT = 0.8, 1.5
HAIR = 0.01
LOOK_MS = 120
SETTLED_S = 20.0
"""A page must stand still under a finger within so long, on a busy machine."""
SOON_MS = 2000
"""What the bench asks for may be over when the hand comes to it."""
LOST_S = 30.0
STILL = 0.015
"""What stands so still (dB or arc-minutes) from one look to the next has settled."""
IN_VAIN = 3
"""So many turns that moved nothing: it is at its end, and is turned the other way."""
LONGEST_S = 12.0
STILL_LOOKS = 7
HAND_S = 1.0
"""More than what the page says to wait: the hand's own time, and the counter's whole seconds."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What stands in the field."""

    stands: bool
    """Whether there is a field at all."""
    ended: bool
    asks: bool
    big: str
    trimmer: str
    track: int | None
    off: float | None
    way: int
    moved: float
    to_go: float | None
    wait_s: float
    words: str
    place: str
    """The tape that is threaded, and its counter."""
    ask: str
    """The number of what is asked."""

    @property
    def measure(self) -> float:
        """What a turn moves: the number, or how far bias has moved while it is sought."""
        return self.moved if self.off is None else self.off

    @property
    def counter_s(self) -> float:
        """The tape counter."""
        clock = re.search(r"(\d+):(\d\d)$", self.place)
        return 60.0 * float(clock[1]) + float(clock[2]) if clock else 0.0

    @property
    def about(self) -> tuple[str, int | None]:
        return self.trimmer, self.track


def shown(page: Page) -> Shown:
    told = page.evaluate(READ)
    way = {"raise": 1, "lower": -1}.get(told["way"], 0)
    if told["way"] == "turn":
        way = 1 if told["leans"].startswith("rises") else -1
    number = re.fullmatch(r"[\d.]+", told["number"])
    moved = re.search(r"moved ([+−]?)([\d.]+) dB", told["fine"])
    to_go = re.search(r"about (\d+) dB to go", told["fine"])
    wait = re.search(r"in ([\d.]+) s", told["fine"])
    return Shown(
        told["kind"] != "", " ended" in told["kind"], " ask" in told["kind"], told["big"],
        told["trimmer"],
        int(told["who"]) if told["who"].isdecimal() else None,
        float(number[0]) * (way or 1) if number else None, way,
        (-1 if moved[1] == "−" else 1) * float(moved[2]) if moved else 0.0,
        float(to_go[1]) if to_go else None,
        float(wait[1]) if wait else 0.0, told["words"], told["place"], told["ask"],
    )  # fmt: skip


@dataclass
class Known:
    """What was learned of one trimmer: turns for a unit, and for a decibel of bias while sought."""

    turns_per_unit: float = 0.0
    turns_per_moved: float = 0.0
    is_sure: bool = False
    """Whether the way was seen on this very track: another track's screw may turn the other way."""
    in_vain: int = 0


class Finger:
    """Touches: a key of the page, a drag around a screw, a hair key."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._touch = page.context.new_cdp_session(page)

    def press(self, key: Locator, within_ms: float | None = None) -> None:
        """Once the page stands still: what was opened a moment ago may still be on its way."""
        end_s = time.monotonic() + SETTLED_S
        while not key.evaluate(TARGET, timeout=within_ms):
            assert time.monotonic() < end_s, f"too small for a finger: {key.inner_text()}"
            self._page.wait_for_timeout(LOOK_MS)
        key.tap(timeout=within_ms)

    def go_to(self, screen: str) -> None:
        self.press(self._page.get_by_role("button", name=screen, exact=True))

    def turn(self, name: str, turns: float) -> None:
        if abs(turns) < 4 * HAIR:
            way = "clockwise" if turns > 0 else "anticlockwise"
            hair = self._page.get_by_role("button", name=f"{name}: a little {way}", exact=True)
            with suppress(TimeoutError):  # the bench has gone on meanwhile
                for _ in range(max(1, round(abs(turns) / HAIR))):
                    self.press(hair, SOON_MS)
            return
        dial = self._page.get_by_role("slider", name=name, exact=True)
        if dial.count() == 0 or (box := dial.bounding_box()) is None:
            return
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        radius = 0.38 * box["width"]
        steps = max(3, round(abs(turns) * 24))
        for i in range(steps + 1):
            angle = 2 * math.pi * turns * i / steps
            at = {"x": x + radius * math.cos(angle), "y": y + radius * math.sin(angle)}
            self._send("touchMove" if i else "touchStart", [at])
        self._send("touchEnd", [])

    def _send(self, kind: str, points: list[dict[str, float]]) -> None:
        self._touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


class Keys:
    """The keyboard alone: Tab and Enter for a key of the page, arrows for the trimmer in hand."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self.tabs: list[int] = []
        """How often the tab key was needed to come to each key of the page."""

    def press(self, key: Locator, within_ms: float | None = None) -> None:
        for count in range(120):
            ring = key.evaluate(RING, timeout=within_ms)
            if ring is not None:
                assert ring, f"nothing shows that it has the focus: {key.inner_text()}"
                self.tabs.append(count)
                self._page.keyboard.press("Enter")
                return
            self._page.keyboard.press("Tab")
        raise AssertionError("the tab key never came to it")

    def go_to(self, screen: str) -> None:
        self._page.keyboard.press(screen[0].lower())

    def turn(self, name: str, turns: float) -> None:
        key = "ArrowRight" if turns > 0 else "ArrowLeft"
        left = abs(turns)
        for modifier, step in (("Alt+", 0.25), ("", 0.02), ("Shift+", 0.002)):
            while left >= step * 0.75:
                self._page.keyboard.press(modifier + key)
                left -= step


@dataclass
class Walker:
    """Goes through a line-up, from the first ask to the last word."""

    page: Page
    hand: Finger | Keys
    known: dict[tuple[str, int | None], Known] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    story: list[str] = field(default_factory=list)
    turned: set[tuple[str, int | None]] = field(default_factory=set)
    began_s: float = field(default_factory=time.monotonic)
    lost_s: float | None = None

    def walk(self, patience_s: float) -> str:
        """Until it has ended; its last words. AssertionError with the story if it never does."""
        end_s = time.monotonic() + patience_s
        while time.monotonic() < end_s:
            now = shown(self.page)
            self._see_whether_it_answers()
            if now.ended:
                return now.big
            if not now.stands and self.story:  # the field has gone: an exercise has the page again
                return "over"
            if now.asks:
                self._do(now)
            elif now.trimmer and now.way:
                self._turn(now)
            else:
                self.page.wait_for_timeout(120)
        raise AssertionError("it never ended:\n" + "\n".join(self.story[-40:]))

    def _see_whether_it_answers(self) -> None:
        """A page that comes back by itself is no failure, one that does not is."""
        if not self.page.get_by_text("The bench does not answer").count():
            self.lost_s = None
            return
        self.lost_s = self.lost_s or time.monotonic()
        if time.monotonic() - self.lost_s > LOST_S:
            raise AssertionError("the bench does not answer:\n" + "\n".join(self.story[-40:]))

    def _do(self, now: Shown) -> None:
        """Have the deck do what was read, unless something else is asked by now."""
        if not self.asked or self.asked[-1] != now.big:
            self.asked.append(now.big)
            self._tell(f"asked: {now.big}", now)
        asked = self.page.locator(f'.asked:has([data-ask="{now.ask}"])')
        does = asked.get_by_role("button", name="Let the practice deck do it", disabled=False)
        with suppress(TimeoutError):
            self.hand.press(does, SOON_MS)
        self.page.wait_for_timeout(150)

    def _turn(self, now: Shown) -> None:
        known = self.known.setdefault(now.about, Known(*self._like(now)))
        turns = self._how_far(now, known)
        self.turned.add(now.about)
        name = now.trimmer if now.track is None else f"{now.trimmer}, track {now.track}"
        self.hand.turn(name, turns)
        then = self._settled(now, turns)
        self._tell(f"{now.words} (off {now.off}): turned {turns:+.3f}, then {then.off}", then)
        if then.about == now.about:
            self._learn(known, now, then, turns)

    def _settled(self, before: Shown, turns: float) -> Shown:
        """What stands there once the number has moved and stands still, or the wait is over.

        Somebody at the page watches the number, and the tape counter for how long that took.
        """
        last, began, still = before, None, 0
        end_s = time.monotonic() + LONGEST_S
        while time.monotonic() < end_s:
            self.page.wait_for_timeout(LOOK_MS)
            now = shown(self.page)
            if now.about != before.about or now.asks or now.ended:
                return now
            one, other = now.measure, last.measure
            still = still + 1 if abs(one - other) < STILL else 0
            if still >= STILL_LOOKS and abs(one - before.measure) > 4 * STILL:
                return now
            if began is None:  # the counter is shown anew now and then: from there
                began = now.counter_s if now.place != before.place else None
            elif now.counter_s - began >= before.wait_s + HAND_S + abs(turns):
                return now
            last = now
        return shown(self.page)

    def _tell(self, what: str, now: Shown) -> None:
        self.story.append(f"{time.monotonic() - self.began_s:6.1f} s, {now.place}: {what}")

    def _like(self, now: Shown) -> tuple[float, float]:
        """The same trimmer of another track was much like this one, but for its sense."""
        for (trimmer, _), other in self.known.items():
            if trimmer == now.trimmer and other.turns_per_unit:
                return other.turns_per_unit, other.turns_per_moved
        return 0.0, 0.0

    def _how_far(self, now: Shown, known: Known) -> float:
        if now.off is None:  # it is sought: on, the way that it says
            step = 0.3 if "a little" in now.words else max(0.9, 0.7 * (now.to_go or 0.0))
            wanted = step * now.way * (known.turns_per_moved or known.turns_per_unit or 0.6)
            if not known.is_sure:  # far enough to see what it does
                wanted = math.copysign(max(0.25, abs(wanted)), wanted)
            return max(-MOST_SOUGHT, min(MOST_SOUGHT, wanted))
        wanted = now.off * (known.turns_per_unit or math.copysign(0.2, known.turns_per_moved))
        size = min(max(abs(wanted), HAIR / 2), MOST_AT_ONCE)
        return math.copysign(size, wanted)

    def _learn(self, known: Known, now: Shown, then: Shown, turns: float) -> None:
        if now.off is None or then.off is None:
            gone = then.moved - now.moved
            # What bias has moved counts anew when it is sought in another way.
            goes_on = now.off is then.off is None and now.words[:30] == then.words[:30]
            if goes_on and abs(turns) > 0.2 and abs(gone) > 0.15:
                known.turns_per_moved, known.is_sure = turns / gone, True
            return
        gone = now.off - then.off
        known.in_vain = known.in_vain + 1 if abs(gone) < 2 * STILL else 0
        if known.in_vain >= IN_VAIN:
            known.in_vain, known.turns_per_unit = 0, -math.copysign(0.5, known.turns_per_unit)
            return
        if abs(gone) < 0.03 or abs(gone) < 0.1 * abs(now.off):
            known.turns_per_unit = 2.0 * turns / now.off if now.off else 0.0  # it takes more
            return
        found = turns / gone
        old = abs(known.turns_per_unit) or abs(found)
        size = min(max(abs(found), 0.4 * old), 2.5 * old)
        # Which way is up was seen while it was sought; a number may have moved by itself since.
        sense = known.turns_per_moved if known.is_sure else found
        known.turns_per_unit = math.copysign(size, sense)
