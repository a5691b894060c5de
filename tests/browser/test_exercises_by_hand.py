"""Two exercises done by finger, one by the bench's advice and one by the meters alone.

What the verdict says on the page is what the deck's own truth says.
"""

import math
import re
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.benches import Running, serving
from tests.browser.waits import LONG_S
from tests.browser.walk_a_whole_line_up import touched
from tests.browser.walker import Finger, Walker

pytestmark = [pytest.mark.browser, pytest.mark.timeout(900)]
PACE = 3.0
STILL_LOOKS = 3
FRINGING_DB = 0.15
"""A narrow track reads a full-width tape a little high; so much is a guess of the trade's."""


def begin(page: Page, hand: Finger, title: str) -> None:
    hand.press(page.get_by_role("button", name="Exercises"))
    row = page.locator(".school-list li").filter(
        has=page.get_by_role("heading", name=re.compile(f"^{title}"))
    )
    hand.press(row.get_by_role("button"))
    exercise = page.get_by_role("region", name="The exercise")
    expect(exercise).to_contain_text(title, timeout=1000 * LONG_S)


def meter_db(page: Page, track: int) -> float | None:
    """What stands below the trimmer of a track; None for nothing, or what is no 1 kHz section."""
    told = page.locator(".screw").nth(track - 1).locator(".reads")
    found = re.fullmatch(r"([+−]?)([\d.]+) dB", told.inner_text()) if told.count() else None
    level_db = (-1 if found[1] == "−" else 1) * float(found[2]) if found else -99.0
    return level_db if level_db > -15.0 else None


def steady_db(page: Page, hand: Finger, track: int) -> float:
    """The meter once it stands still; the tape is wound back when its section is over."""
    looks: list[float | None] = [0.0]
    end_s = time.monotonic() + LONG_S
    while time.monotonic() < end_s:
        page.wait_for_timeout(500)
        looks = [*looks[-2:], meter_db(page, track)]
        read = [look for look in looks if look is not None]
        if looks[-2:] == [None, None]:
            page.get_by_label("wind to").select_option(index=1)
            hand.press(page.get_by_role("button", name="play", exact=True))
            page.wait_for_timeout(3000)
        elif len(read) == STILL_LOOKS and max(read) - min(read) < 0.03:
            return read[-1]
    raise AssertionError(f"the meter of track {track} never stood still")


def set_by_the_meter(page: Page, hand: Finger) -> list[str]:
    """Both reproduce levels to the ratio of the fluxivities that stand on the page."""
    hand.press(page.get_by_role("button", name="calibration", exact=True))
    papers = page.locator(".papers")
    expect(papers).to_contain_text("nWb/m")
    tape, house = map(float, re.findall(r"(?<![\d.])\d{3}(?:\.\d)?", papers.inner_text()))
    target_db = 20.0 * math.log10(tape / house) + FRINGING_DB
    hand.press(page.get_by_role("button", name="reproduce", exact=True))
    page.get_by_label("Which trimmer").select_option("reproduce_level")
    story, turns_per_db = [], 0.0
    for track in (1, 2):
        known = turns_per_db
        for _ in range(14):
            before = steady_db(page, hand, track)
            off = target_db - before
            if abs(off) < 0.06:
                break
            turns = max(-0.6, min(0.6, off * (known or 0.15)))
            hand.turn(f"reproduce level, track {track}", turns)
            page.wait_for_timeout(1500)
            gone = steady_db(page, hand, track) - before
            story.append(f"{track}: {before:+.2f} dB, turned {turns:+.3f}, moved {gone:+.2f}")
            if abs(gone) > 0.05:
                known = turns_per_db = max(-1.5, min(1.5, turns / gone))
            else:
                known *= 1.5
    hand.press(page.get_by_role("button", name="stop", exact=True))
    return story


def verdict_is_the_truth(page: Page, bench: Running, trimmer: str, of: str) -> None:
    """And it is a pass."""
    card = page.get_by_role("region", name="The verdict")
    expect(card).to_contain_text("Passed", timeout=1000 * LONG_S)
    left_db = bench.truth()["residual"][of]
    rows = card.locator("tbody tr").filter(has_text=trimmer)
    assert rows.count() > 0
    for row in rows.all():
        track = int(re.findall(r"track (\d+)", row.inner_text())[0])
        cells = row.locator("td")
        sign, size = re.findall(r"([+−])([\d.]+)", cells.nth(2).inner_text())[0]
        assert (-1 if sign == "−" else 1) * float(size) == pytest.approx(
            left_db[track - 1], abs=0.0051
        )
        set_db, accept_db = map(float, re.findall(r"[\d.]+", cells.nth(3).inner_text()))
        size_db = abs(left_db[track - 1])
        said = "in" if size_db <= set_db else "near" if size_db <= accept_db else "out"
        assert cells.nth(4).inner_text().strip() == said


def test_with_the_bench_and_without_it(chromium: Browser, tmp_path: Path) -> None:
    with serving(tmp_path / "book.db", 4, PACE, seed=3) as bench:
        page = touched(chromium, has_touch=True)
        hand = Finger(page)
        page.goto(bench.address + "/#practice")
        expect(page.locator(".practice")).to_be_visible()

        begin(page, hand, "Without the bench")
        story = set_by_the_meter(page, hand)
        status, told = bench.post("/api/deck/swap", {"what": "cards", "tracks": [1, 2]})
        assert (status, "hand it in first" in told["error"]) == (409, True)
        hand.press(page.get_by_role("button", name="Hand it in"))
        print("\n".join(story))
        verdict_is_the_truth(page, bench, "reproduce level", "reproduce_level_db")
        hand.press(page.get_by_role("button", name="Done: other exercises"))

        page.get_by_label("who practises").fill("Ida")
        hand.press(page.get_by_role("button", name="close", exact=True))
        begin(page, hand, "One level")
        hand.press(page.get_by_role("button", name="Begin with the bench"))
        began_s = time.monotonic()
        walker = Walker(page, hand)
        last = walker.walk(patience_s=400.0)
        print("\n".join(walker.story), f"\n{time.monotonic() - began_s:.0f} s")
        assert last == "over"
        hand.press(page.get_by_role("button", name="Hand it in"))
        verdict_is_the_truth(page, bench, "reproduce level", "reproduce_level_db")
        hand.press(page.get_by_role("button", name="Done: other exercises"))
        expect(page.locator(".wrongs")).to_be_visible()  # the deck of before stands here again
        results = bench.get("/api/exercises/results")["results"]
        assert [one["learner"] for one in results] == ["Ida", None]
        page.context.close()
