"""A real Chromium, and pages that may not complain."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, expect

from tests.browser.benches import PASSED_FIRST, Running, serving

CHROMIUM = "/usr/bin/chromium"
PATIENCE_MS = 60_000
"""For a machine that is busy with other things."""
expect.set_options(timeout=PATIENCE_MS)
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PACE = 4.0
"""Seconds of tape in one of the wall, where a test waits for tape."""
SIZES = {"tablet": (1180, 820), "laptop": (1280, 800)}


def is_complaint(said: ConsoleMessage) -> bool:
    """An error, but for a command that a busy bench has sent again: the page does so by itself."""
    asked_again = said.location["url"].endswith("/api/commands") and "503" in said.text
    return said.type == "error" and not asked_again


@pytest.fixture(scope="module")
def chromium(playing: Playwright) -> Iterator[Browser]:
    browser = playing.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    yield browser
    browser.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Running]:
    with serving(tmp_path / "book.db", pace=PACE) as running:
        yield running


@pytest.fixture
def page(chromium: Browser, bench: Running) -> Iterator[Page]:
    """A tablet that leans on the deck, closed before the bench; nothing was complained of."""
    wide, high = SIZES["tablet"]
    context = chromium.new_context(viewport={"width": wide, "height": high}, has_touch=True)
    context.add_init_script(PASSED_FIRST)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
    yield page
    context.close()
    assert complaints == []
