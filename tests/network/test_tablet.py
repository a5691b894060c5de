"""The screens of a bench on the network in a real browser: at the desk, on a tablet over http."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect

from tests.browser.benches import PASSED_FIRST
from tests.browser.conftest import ARGUMENTS, CHROMIUM, PATIENCE_MS, SIZES
from tests.browser.test_screens import assert_no_faults_in_either_light
from tests.browser.waits import comes_to, fits
from tests.network.people import Bench
from tests.network.rooms import DESK, two_rooms

pytestmark = [pytest.mark.network, pytest.mark.browser, pytest.mark.timeout(900)]
WIDE, HIGH = SIZES["tablet"]
FILM = """() => { const film = document.querySelector("video.film");
  return film !== null && !film.paused && film.currentTime > 0; }"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with ExitStack() as stack:
        desk, _ = stack.enter_context(two_rooms())
        made = Bench(desk, tmp_path / "book.db", tmp_path / "log")
        stack.callback(made.end)
        made.start()
        yield made


@pytest.fixture
def browser(playing: Playwright, bench: Bench, tmp_path: Path) -> Iterator[Browser]:
    """A browser on the bench's network: by 127.0.0.1 it is the desk, by the number a device."""
    enter = tmp_path / "chromium"
    enter.write_text(f'#!/bin/sh\nexec {" ".join(bench.room.inside(CHROMIUM))} "$@"\n')
    enter.chmod(0o755)
    made = playing.chromium.launch(executable_path=enter, args=ARGUMENTS)
    yield made
    made.close()


def opened(browser: Browser, address: str, asked: list[str] | None = None) -> Page:
    context = browser.new_context(viewport={"width": WIDE, "height": HIGH}, has_touch=True)
    context.add_init_script(PASSED_FIRST)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    if asked is not None:
        page.on("request", lambda one: asked.append(f"{one.url} {one.headers.get('referer')}"))
    page.goto(address)
    return page


def test_a_tablet_is_paired_gets_the_controls_and_loses_them(
    bench: Bench, browser: Browser
) -> None:
    desk = opened(browser, f"http://127.0.0.1:{bench.port}/")
    desk.locator(".who-holds").tap()
    devices = desk.get_by_role("dialog", name="Devices")
    expect(devices.get_by_alt_text("QR code of")).to_be_visible()
    code = devices.locator(".digits").inner_text().replace(" ", "")
    assert_no_faults_in_either_light(desk)

    asked: list[str] = []
    tablet = opened(browser, f"http://{DESK}:{bench.port}/#pair={code}", asked)
    field = tablet.get_by_label("Code from the desk")
    expect(field).to_have_value(f"{code[:3]} {code[3:]}")
    assert code not in tablet.url
    assert_no_faults_in_either_light(tablet)
    field.fill("0")
    tablet.get_by_role("button", name="Pair this device").tap()
    expect(tablet.get_by_role("status")).to_have_text(
        "That is not the code that stands at the desk."
    )
    field.fill(code)
    tablet.get_by_label("What this device is called").fill("Tablet")
    tablet.get_by_role("button", name="Pair this device").tap()

    bar = tablet.locator(".hands")
    expect(bar).to_contain_text("You watch. The desk holds the controls.")
    fits(tablet, WIDE, HIGH)
    tablet.get_by_role("button", name="Begin the line-up").tap()
    expect(tablet.get_by_role("alert").first).to_contain_text("the desk holds the controls")
    bar.get_by_role("button", name="Ask for the controls").tap()
    expect(devices).to_contain_text("Tablet asks for them.")
    devices.get_by_role("button", name="Give them").tap()
    expect(bar).to_have_count(0)
    tablet.get_by_role("button", name="Begin the line-up").tap()
    expect(tablet.get_by_text("This screen may go dark by itself")).to_be_visible()
    tablet.get_by_role("button", name="I see").tap()
    comes_to(tablet, lambda: bool(tablet.evaluate(FILM)), bool)
    tablet.reload()
    expect(tablet.locator(".who-holds")).to_contain_text("here")
    expect(tablet.get_by_text("This screen may go dark by itself")).to_have_count(0)  # it was said

    devices.get_by_role("button", name="Take the controls").tap()
    expect(bar).to_contain_text("The desk has the controls now. You watch.")
    tablet.keyboard.press("Escape")
    expect(desk.get_by_text("Silenced by you")).to_be_visible()
    devices.get_by_role("button", name="Revoke Tablet").tap()
    expect(tablet.get_by_label("Code from the desk")).to_be_visible()
    assert [one for one in asked if code in one] == []
    assert code not in bench.log.read_text()
