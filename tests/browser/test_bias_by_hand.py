"""Bias of a track, set in a real browser by what the page shows, with a reload in the middle."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.benches import Running
from tests.browser.hands import Setting, see
from tests.browser.waits import LONG_S, let_deck_until

pytestmark = pytest.mark.browser


def answer_asks(page: Page, until: str) -> None:
    """Let the practice deck do what is asked until the page says `until`."""
    let_deck_until(page, lambda: until in f"{see(page).big} {see(page).words}", but=until)


def stage_card(page: Page, title: str) -> None:
    page.get_by_role("navigation", name="Stages").get_by_role("button", name=title).first.click()


def begin_bias(page: Page, bench: Running) -> None:
    """From the first page to the bias stage, leaving out what this test is not about."""
    page.goto(bench.address + "/#bench")
    page.get_by_role("button", name="Begin the line-up").click()
    answer_asks(page, "Load the calibration tape")
    stage_card(page, "Load the stock")
    page.get_by_role("button", name="Go there now").click()
    expect(page.locator(".focus")).not_to_contain_text("Load the calibration tape")
    answer_asks(page, "Record azimuth")
    stage_card(page, "Record azimuth")
    page.get_by_label("Why it is left out").fill("not in this test")
    page.get_by_role("button", name="Leave it out").click()
    answer_asks(page, "Bias 1")


@pytest.mark.timeout(900)
def test_a_trimmer_is_turned_past_the_peak_to_its_target(page: Page, bench: Running) -> None:
    """And the page goes on to the next track by itself."""
    begin_bias(page, bench)
    page.get_by_role("button", name="Practice", exact=True).click()

    def reload() -> None:
        page.reload()
        expect(page.locator(".focus .who")).to_have_text("1")

    setting = Setting(page, 1, bench.pace)
    assert setting.done(2 * LONG_S, reload), "\n".join(setting.story)
    assert "in" in setting.verdicts
    assert setting.phases[-2:] == [-1, 1], "past the peak one way and back the other"
    page.get_by_role("button", name="Bench", exact=True).click()
    page.get_by_role("button", name="Taken").click()
    rows = page.locator("table.taken tbody tr").filter(has_text="bias")
    expect(rows).to_have_count(1)
    sheet = float(re.findall(r"[\d.]+", rows.first.locator("td").nth(4).inner_text())[0])
    left = bench.truth()["residual"]["over_bias_db"][0]
    assert sheet > 1.0
    assert abs(left) < 0.5
