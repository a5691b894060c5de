"""An interface on screen: kept in the book, checked, calibrated by a meter and by its cables."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.benches.made_interface import OUT_DBU
from tests.browser.benches import ENDS_WITHIN_S, Running, end
from tests.browser.conftest import SIZES
from tests.browser.test_screens import faults_of
from tests.browser.waits import LONG_S, fits

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]
ROOT = Path(__file__).parents[2]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Running]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.browser.desk_bench", str(tmp_path / "book.db")],
        cwd=ROOT,
        env={**os.environ, "FLUXBENCH_TEST_BLOCK_S": "0.004"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    try:
        with process.stdout as said:
            found = re.search(r"http://\S+", said.readline())
            assert found, "the bench did not start"
            yield Running(found[0], tmp_path / "book.db", process)
    finally:
        end(process.pid)
        process.wait(ENDS_WITHIN_S)


def test_an_interface_is_kept_calibrated_and_checked(page: Page, bench: Running) -> None:
    page.goto(f"{bench.address}/#tapes")
    page.get_by_role("button", name="Interfaces").tap()
    page.get_by_role("button", name="Keep in the book: desk").tap()
    meter = page.get_by_role("region", name="Calibrate in dBu")
    expect(meter.get_by_text("inputs 1–2 and outputs 1–2")).to_be_visible()
    expect(meter.get_by_text("monitors and headphones down")).to_be_visible()

    meter.get_by_role("button", name="Agreed: begin").tap()
    expect(page.get_by_text("desk is being calibrated; nothing else runs")).to_be_visible()
    for n in (1, 2):
        row = meter.locator("form").filter(has_text=f"Output {n}")
        row.get_by_role("button", name="Send the tone").tap()
        expect(row.get_by_role("button", name="Tone stands: stop")).to_be_visible()
        row.get_by_label(f"What the meter reads at output {n}").fill(f"{OUT_DBU[n - 1] - 14.0} dBu")
        row.get_by_role("button", name="Take").tap()
        expect(row.get_by_text(f"full scale +{OUT_DBU[n - 1]:.2f} dBu")).to_be_visible()
    expect(page.get_by_text("an interface is tried")).to_be_visible()
    assert faults_of(page) == []
    fits(page, *SIZES["tablet"])
    meter.get_by_label("Meter, and who vouches for it").fill("bench meter 2")
    meter.get_by_role("button", name="Keep in the book").tap()
    expect(meter.get_by_text("Kept in the book.")).to_be_visible()
    page.keyboard.press("Escape")
    expect(meter.get_by_text("It broke off: the silence key was pressed")).to_be_visible()
    silence = page.get_by_role("button", name="Silence Esc")
    expect(silence).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("Shift+Escape")
    expect(silence).to_have_attribute("aria-pressed", "false")

    check = page.get_by_role("region", name="Loop-back check")
    check.get_by_role("button", name="Agreed: check it").tap()
    found = check.get_by_text("Round trip 1234 frames")
    expect(found).to_be_visible(timeout=1000 * LONG_S)
    expect(check.get_by_text("Nothing is wrong.")).to_be_visible()
    check.get_by_role("button", name="Calibrate the inputs by these cables").tap()
    expect(check.get_by_text("Kept in the book.")).to_be_visible()
    page.reload()
    page.get_by_role("button", name="Interfaces").tap()
    expect(meter.get_by_text("Every channel is calibrated.")).to_be_visible()
    expect(meter.get_by_text("Input 1+17.60 dBu±0.10 dB")).to_be_visible()
