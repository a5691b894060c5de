"""The first hour is passed in one touch; an exercise is begun, judged and remembered on screen."""

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.benches import Running
from tests.browser.conftest import PATIENCE_MS, is_complaint
from tests.browser.fetched import MOST_KB, all_has_come, fetched_by
from tests.browser.test_screens import faults_of

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]


def test_a_newcomer_and_a_learner(chromium: Browser, bench: Running) -> None:
    context = chromium.new_context(viewport={"width": 1180, "height": 820}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)

    page.goto(bench.address)
    expect(page.get_by_role("heading", name="minutes at a practice deck")).to_be_visible()
    assert faults_of(page) == []
    page.get_by_role("button", name="Skip", exact=True).tap()
    expect(page.get_by_role("button", name="Begin the line-up")).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name="Begin the line-up")).to_be_visible()
    page.wait_for_timeout(500)
    expect(page.get_by_role("heading", name="minutes at a practice deck")).to_have_count(0)
    all_has_come(page, plots=True)
    assert fetched_by(page) < MOST_KB

    page.keyboard.press("?")
    page.get_by_role("button", name="The first turns, again").click()
    expect(page.get_by_role("heading", name="minutes at a practice deck")).to_be_visible()
    page.get_by_role("button", name="Skip", exact=True).tap()

    page.keyboard.press("p")
    page.get_by_role("button", name="Exercises").tap()
    rows = page.locator(".school-list li")
    expect(rows).to_have_count(13)
    assert faults_of(page) == []
    row = rows.filter(has=page.get_by_role("heading", name="Before any tape"))
    row.get_by_role("button", name="Begin").tap()
    expect(page.get_by_role("button", name="Say what is wrong")).to_be_visible()
    expect(page.locator(".wrongs")).to_have_count(0)  # faults and other decks are out of reach
    assert faults_of(page) == []
    page.get_by_role("button", name="Say what is wrong").tap()
    page.get_by_role("button", name="hum on all tracks").tap()
    page.get_by_role("button", name="That is what I found").tap()
    page.get_by_role("button", name="Hand it in").tap()
    card = page.get_by_role("region", name="The verdict")
    expect(card).to_contain_text("Not yet")
    expect(card).to_contain_text("not so")
    expect(card).to_contain_text("missed")
    expect(card).to_contain_text("the practising technician 0:06")
    assert faults_of(page) == []
    page.get_by_role("button", name="Done: other exercises").tap()
    expect(row).to_contain_text("once, last")
    expect(page.locator(".wrongs")).to_be_visible()
    context.close()
    assert complaints == []
