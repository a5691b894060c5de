"""Captures on screen: added by a path, measured while one looks, told track by track, kept."""

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from tests.browser.benches import Running
from tests.browser.conftest import SIZES
from tests.browser.test_screens import assert_no_faults_in_either_light
from tests.browser.waits import LONG_S, fits
from tests.captures.made import noise, tone, written

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]
RATE_HZ = 16_000


@pytest.fixture
def transfer(tmp_path: Path) -> Path:
    """Two tracks, the second 0.8 dB low, and a blank stretch."""
    tones = tone(2.0, RATE_HZ, 1000.0, (-18.0, -18.8), delays_us=(0.0, 0.0))
    blank = noise(2.0, RATE_HZ, -70.0, tracks=2)
    return written(tmp_path / "side A.wav", np.concatenate([blank, tones, blank]), RATE_HZ)


def test_a_capture_is_added_by_its_path_and_told_track_by_track(
    page: Page, bench: Running, transfer: Path
) -> None:
    page.goto(bench.address + "/#bench")
    page.keyboard.press("c")
    path = page.get_by_label("Path of the file on that computer")
    path.fill(str(transfer))
    page.get_by_role("button", name="15 in/s").tap()
    page.get_by_role("button", name="Add and measure it").tap()
    leaf = page.get_by_role("region", name="side A.wav")
    expect(leaf).to_contain_text("can be put right in the file", timeout=1000 * LONG_S)
    expect(leaf).to_contain_text("track 2 0.4 dB low")
    rows = leaf.get_by_role("region", name="Track by track", exact=True).get_by_role("row")
    expect(rows).to_have_count(3)
    expect(rows.nth(2)).to_contain_text("−18.80 ± <0.01")
    leaf.get_by_role("button", name="noise").first.tap()
    expect(leaf.get_by_role("region", name="The section, track by track")).to_contain_text("−70.")
    assert_no_faults_in_either_light(page)
    for wide, high in SIZES.values():
        fits(page, wide, high)
    page.reload()
    expect(leaf).to_contain_text("track 2 0.4 dB low")
