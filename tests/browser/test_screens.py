"""What every screen holds to: names, sizes, keys, cautions, and nothing lost by a reload."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.benches import PASSED_FIRST, Running, answer_of
from tests.browser.conftest import PATIENCE_MS, SIZES
from tests.browser.fetched import MOST_KB, ROOMS, fetched_kb
from tests.browser.waits import LONG_S, comes_to, fits, let_deck_until, size_asked_for

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]
STILL = """() => Promise.allSettled(document.getAnimations()
  .filter((one) => one.effect?.getComputedTiming().endTime !== Infinity)
  .map((one) => one.finished)).then(() => true)"""
"""What fades over has done so."""
AXE = Path(__file__).parents[2] / "ui" / "node_modules" / "axe-core" / "axe.min.js"


def faults_of(page: Page) -> list[str]:
    """Serious faults that axe-core finds for people who hear or cannot point."""
    page.evaluate(STILL)
    page.evaluate(AXE.read_text())  # the page itself lets no foreign script in
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{fault['id']}: {fault['nodes'][0]['html'][:120]} {fault['nodes'][0]['failureSummary']}"
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
    ]


def assert_no_faults_in_either_light(page: Page) -> None:
    for light in ("dark", "light"):
        page.emulate_media(color_scheme=light, reduced_motion="reduce")  # else colours fade over
        assert faults_of(page) == []
    page.emulate_media(reduced_motion="no-preference")


OUTSIDE = """() => [...document.querySelectorAll('.panel, .head > *')]
  .filter((e) => { const b = e.getBoundingClientRect();
    return b.width && (b.right > innerWidth + 1 || b.bottom > innerHeight + 1); })
  .map((e) => e.className)"""


def shows_all(page: Page) -> None:
    """Each size shows all of the bench and of the practice deck, without scrolling."""
    for screen in ("p", "b"):
        page.keyboard.press(screen)
        expect(page.locator(".trimmers" if screen == "p" else ".bench")).to_be_visible()
        for wide, high in reversed(SIZES.values()):
            fits(page, wide, high)
            comes_to(page, lambda: page.evaluate(OUTSIDE), lambda seen: seen == [])


def no_screen_is_heavy(chromium: Browser, address: str) -> None:
    """And where one cannot be fetched, that is said, and it comes when it can be."""
    sizes_kb = fetched_kb(chromium, address)
    assert tuple(sizes_kb) == ROOMS
    assert max(sizes_kb.values()) <= MOST_KB

    context = chromium.new_context()
    context.add_init_script(PASSED_FIRST)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.route("**/assets/tapes-*", lambda route: route.abort())
    page.goto(f"{address}/#bench")
    expect(page.locator(".bench")).to_be_visible()
    came = page.evaluate("performance.getEntriesByType('resource').map((entry) => entry.name)")
    others = [name for name in came if any(f"/{room}-" in name for room in ROOMS[1:])]
    assert others == [], "the bench carries no other screen"
    page.goto(f"{address}/#tapes")
    alert = page.get_by_role("alert").filter(has_text="This screen could not be fetched")
    expect(alert).to_be_visible()
    page.unroute("**/assets/tapes-*")
    page.get_by_role("button", name="Fetch it again").click()
    expect(page.get_by_role("button", name="Add a calibration tape").first).to_be_visible()
    context.close()


def stands(dial: Locator) -> float:
    """Turns from its anticlockwise end, as a screw tells it."""
    return float(dial.get_attribute("aria-valuenow") or "nan")


def screws_stand_where_the_deck_has_them(page: Page, bench: Running) -> None:
    """Each speed has screws of its own, and none turns on at its end; no line-up runs yet."""
    page.keyboard.press("p")
    page.get_by_label("Which trimmer").select_option("bias")
    dial = page.get_by_role("slider", name="bias, track 2")
    left = page.get_by_role("button", name="bias, track 2: a little anticlockwise")
    found = stands(dial)
    left.tap()
    expect(dial).to_have_attribute("aria-valuetext", f"{found - 0.01:.2f} of 20 turns")
    speeds = page.get_by_role("group", name="Speed")
    speeds.get_by_role("button", name="30").tap()
    expect(speeds.get_by_role("button", name="30")).to_have_attribute("aria-pressed", "true")
    has = bench.hands.state()["trimmers"]["stands_turns"]["bias"][1]
    assert abs(has - found) < 0.0051  # nobody has turned the one of this speed
    expect(dial).to_have_attribute("aria-valuetext", f"{has:.2f} of 20 turns")
    speeds.get_by_role("button", name="15").tap()
    expect(dial).to_have_attribute("aria-valuetext", f"{found - 0.01:.2f} of 20 turns")

    body = {"id": "far", "trimmer": "bias", "turns": -30.0, "track": 2}
    assert bench.post("/api/deck/turn", body)[1]["stands_turns"] == 0.0
    expect(dial).to_have_attribute("aria-valuetext", "0.00 of 20 turns, at its end")
    expect(dial).to_contain_text("at its end")
    expect(left).to_be_disabled()
    dial.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowRight")
    expect(dial).to_have_attribute("aria-valuetext", "0.02 of 20 turns")
    page.keyboard.press("b")


def test_a_first_look_by_touch_and_by_key(page: Page, bench: Running, chromium: Browser) -> None:
    """One bench for all of it: starting one takes long."""
    page.goto(bench.address)
    begin = page.get_by_role("button", name="Begin the line-up")
    expect(begin).to_be_visible()
    expect(page.get_by_text("monitors and headphones down").first).to_be_visible()
    shows_all(page)
    no_screen_is_heavy(chromium, bench.address)
    assert_no_faults_in_either_light(page)
    screws_stand_where_the_deck_has_them(page, bench)
    begin.tap()
    expect(page.get_by_text("Stop the tape and listen to the input")).to_be_visible()

    page.keyboard.press("Escape")
    expect(page.get_by_text("Silenced by you")).to_be_visible()
    assert bench.get("/api/state")["bench"]["silenced"] is True
    page.reload()
    expect(page.get_by_text("Silenced by you")).to_be_visible()
    page.keyboard.press("Shift+Escape")
    expect(page.get_by_text("Silenced by you")).to_have_count(0)

    page.keyboard.press("p")
    expect(page.get_by_role("region", name="Trimmers of the practice deck")).to_be_visible()
    assert faults_of(page) == []
    dial = page.get_by_role("slider", name="reproduce level, track 1")
    dial.focus()
    found = stands(dial)
    page.keyboard.press("ArrowRight")
    expect(dial).to_have_attribute("aria-valuetext", f"{found + 0.02:.2f} of 20 turns")

    page.get_by_text("Faults", exact=True).tap()
    page.get_by_role("button", name="hum", exact=True).tap()
    expect(page.get_by_role("button", name="hum", exact=True)).to_have_attribute(
        "aria-pressed", "true"
    )
    page.keyboard.press("b")
    page.keyboard.press("?")
    expect(page.get_by_role("dialog", name="Keys and help")).to_be_visible()


def test_a_crossed_track_is_called_out(page: Page, bench: Running) -> None:
    page.goto(bench.address + "/#practice")
    page.get_by_text("Faults", exact=True).click()
    crossed = page.get_by_role("button", name="two tracks crossed")
    crossed.click()
    expect(crossed).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="Begin the line-up").click()
    page.get_by_role("button", name="Let the practice deck do it").click()
    page.keyboard.press("b")
    page.get_by_role("button", name="Notes").click()
    expect(page.locator(".page")).to_contain_text("crossed", timeout=1000 * LONG_S)

    told = page.get_by_role("region", name="What to do now")
    expect(told.get_by_text("Stopped", exact=True)).to_be_visible()
    sheet = page.get_by_role("link", name="sheet").first  # it stopped, and that is on paper too
    status, content = answer_of(bench.address + str(sheet.get_attribute("href")))
    assert (status, content[:8]) == (200, b"%PDF-1.7")

    assert bench.post("/api/deck/faults", {"on": ["wrong_tape"]})[0] == 200
    a_doubt_waits_for_its_own_keys(page, bench)


def a_doubt_waits_for_its_own_keys(page: Page, bench: Running) -> None:
    """The tape is not that of its sheet: Enter answers nothing, each key does what it says."""
    doubt = page.get_by_role("alert").filter(has_text="This is not the calibration tape of its")
    for key in ("End it here", "Go on all the same"):
        body = {
            "id": key.replace(" ", "-"),
            "command": "begin",
            "kind": "part",
            "stages": ["reproduce"],
        }
        status, told = bench.post("/api/commands", body)
        assert status == 200, told
        let_deck_until(page, lambda: doubt.count() > 0)
        expect(doubt).to_be_visible()
        page.keyboard.press("Enter")
        page.wait_for_timeout(500)
        expect(doubt).to_be_visible()
        page.get_by_role("button", name=key).click()
        expect(doubt).to_have_count(0)
        if key == "End it here":
            field = page.get_by_role("region", name="What to do now")
            expect(field).to_contain_text("This is not the calibration tape of its sheet")
            expect(field.get_by_text("Stopped", exact=True)).to_be_visible()
    page.get_by_role("button", name="Notes").click()
    expect(page.locator(".page")).to_contain_text("went on in spite of this, as the person wished")


HEARD_S = 2.0
"""Of tape."""


def test_a_calibration_tape_that_is_being_wiped_is_shouted(page: Page, bench: Running) -> None:
    """Somebody presses record with track 1 ready while the tape plays."""
    page.goto(bench.address + "/#bench")
    page.get_by_role("button", name="Begin the line-up").click()
    hands = bench.hands
    let_deck_until(page, lambda: (hands.state()["section"] or 0) >= 5)
    before = hands.state()["section"] or 5
    begins = comes_to(page, hands.state, lambda now: (now["section"] or 0) > before)
    heard_s = begins["position_s"] + HEARD_S  # it has to hear a section for a while
    comes_to(page, lambda: hands.state()["position_s"], lambda at_s: at_s > heard_s)
    hands.transport(state="record", ready=[1])
    shout = page.get_by_role("alert").filter(has_text="STOP: track 1 has vanished")
    expect(shout).to_be_visible()
    page.get_by_role("button", name="Let the practice deck do it").click()
    expect(shout).to_have_count(0)
    assert hands.state()["ready"] == []
    page.get_by_role("button", name="Notes").click()
    expect(page.locator(".page")).to_contain_text("vanished from the calibration tape")


def test_a_verification_opens_the_page_of_the_worst_track(page: Page, bench: Running) -> None:
    page.goto(bench.address + "/#bench")
    page.get_by_role("button", name="Verify the deck").tap()
    for wide, high in SIZES.values():
        page.set_viewport_size({"width": wide, "height": high})
        comes_to(page, lambda: size_asked_for(page)[0], wide.__eq__)
    assert faults_of(page) == []
    for other in (
        "Response, 60 Hz to 15 kHz",
        "Noise, A-weighted",
        "Crosstalk, 1 kHz",
        "Flutter both ways, 2σ",
        "Output at 3 %, 1 kHz",
    ):
        page.get_by_role("checkbox", name=other).tap()
    page.get_by_label("Limit of Third harmonic").fill("0.05")
    page.get_by_role("button", name="Begin to verify").tap()
    ended = page.locator(".focus.ended")
    let_deck_until(page, lambda: ended.count() > 0)
    expect(ended).to_contain_text("Out: tracks")  # no tape bends as little as that
    page.reload()  # it is in the book, not in the page
    tracks = page.get_by_role("list", name="Tracks, the worst first").get_by_role("button")
    expect(tracks.first).to_have_attribute("data-verdict", "out")
    worst_first = [float(t.split("−")[-1]) for t in tracks.all_text_contents()]
    assert worst_first == sorted(worst_first, reverse=True)
    tracks.last.tap()
    expect(page.get_by_role("row", name="third harmonic")).to_contain_text("0.05 %")
    assert faults_of(page) == []
