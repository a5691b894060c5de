"""Waiting for what is meant, however long a busy machine takes, and for nothing else."""

import time
from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

from playwright.sync_api import Page, TimeoutError

T = TypeVar("T")
PATIENCE_S = 60.0
"""For what comes by itself in a moment, on a machine that is busy with other things."""
LONG_S = 240.0
"""For what takes tape, or sums."""
LOOK_MS = 50
SOON_MS = 2000
"""What was there a moment ago may be gone; it is looked at again."""

ASK = """() => {
  const of = document.querySelector('.asked [data-ask]');
  return of && [of.dataset.ask, of.textContent];
}"""
WATCH = """(of) => {
  const seen = window.watched = [];
  const look = () => {
    const texts = of.map((place) => document.querySelector(place)?.textContent?.trim());
    if (texts.every(Boolean) && texts.join(": ") !== seen.at(-1)) seen.push(texts.join(": "));
  };
  new MutationObserver(look).observe(document.body,
    {subtree: true, childList: true, characterData: true, attributes: true});
  look();
}"""


def comes_to(
    page: Page, see: Callable[[], T], wanted: Callable[[T], bool], patience_s: float = PATIENCE_S
) -> T:
    """What is seen once it is as wanted; AssertionError with what is seen instead."""
    end_s = time.monotonic() + patience_s
    while not wanted(seen := see()):
        assert time.monotonic() < end_s, f"it stays at {seen!r}"
        page.wait_for_timeout(LOOK_MS)
    return seen


def size_asked_for(page: Page) -> list[int]:
    """Width and height in pixels that the page asks for."""
    return list(
        page.evaluate(
            "() => [document.documentElement.scrollWidth, document.documentElement.scrollHeight]"
        )
    )


def fits(page: Page, wide: int, high: int) -> None:
    """The page asks for no more than a window of that size; canvases follow with a frame."""
    page.set_viewport_size({"width": wide, "height": high})
    comes_to(page, lambda: size_asked_for(page), lambda seen: seen == [wide, high])


def watch(page: Page, *places: str) -> None:
    """Note what stands in these places from now on, however short; until the next load."""
    page.evaluate(WATCH, list(places))


def watched(page: Page) -> list[str]:
    """What stood there, in order, each as `one: other`."""
    return list(page.evaluate("() => window.watched ?? []"))


def let_deck(page: Page, but: str | None = None) -> None:
    """Have the practice deck do what is asked, if something is.

    Only what was read is done, whatever is asked by then; and not an ask that says `but`.
    """
    told = page.evaluate(ASK)
    if told is None or (but is not None and but in told[1]):
        return
    does = page.locator(f'.asked:has([data-ask="{told[0]}"])').get_by_role(
        "button", name="Let the practice deck do it"
    )
    with suppress(TimeoutError):
        does.click(timeout=SOON_MS)


def let_deck_until(
    page: Page, is_there: Callable[[], bool], but: str | None = None, patience_s: float = LONG_S
) -> None:
    """Have the practice deck do one thing after the other until something is there."""
    end_s = time.monotonic() + patience_s
    while not is_there():
        assert time.monotonic() < end_s, page.locator(".focus").all_inner_texts()
        let_deck(page, but)
        page.wait_for_timeout(100)


def holds_meanwhile(page: Page, check: Callable[[], None], patience_s: float = LONG_S) -> None:
    """Look until it holds, and have the deck do what is asked meanwhile: tape has to be wound."""
    end_s = time.monotonic() + patience_s
    while True:
        let_deck(page)
        try:
            return check()
        except (AssertionError, TimeoutError):
            if time.monotonic() > end_s:
                raise
