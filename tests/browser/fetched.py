"""What a browser fetches of the screens, over the wire, for one of them alone."""

from playwright.sync_api import Browser

from tests.browser.benches import PASSED_FIRST

ROOMS = ("bench", "decks", "tapes", "history", "captures", "workout", "practice")
MOST_KB = 120.0
"""Budget of a page."""

# The plots of the bench come last of all, two seconds after the page at the latest.
_IS_WHOLE = """(plots) => !document.querySelector(".shelf-waits .nothing")
  && (!plots || ["/plot-", "/drawings-"].every((file) => performance.getEntriesByType("resource")
    .some((entry) => entry.name.includes(file) && entry.name.endsWith(".js"))))"""
_SIZES = """[...performance.getEntriesByType("navigation"),
  ...performance.getEntriesByType("resource").filter((r) => r.name.includes("/assets/"))]
  .map((entry) => entry.transferSize)"""


def fetched_kb(browser: Browser, address: str) -> dict[str, float]:
    """Each screen in a browser that has nothing yet: all files that it fetches, in kB."""
    # Playwright waits by code of its own, which the page's policy forbids: hence bypass_csp.
    contexts = [browser.new_context(bypass_csp=True) for _ in ROOMS]
    for context in contexts:
        context.add_init_script(PASSED_FIRST)
    try:
        pages = {room: of.new_page() for room, of in zip(ROOMS, contexts, strict=True)}
        for room, page in pages.items():
            page.goto(f"{address}/#{room}")
        sizes = {}
        for room, page in pages.items():
            page.wait_for_function(_IS_WHOLE, arg=room == "bench")
            page.wait_for_load_state("networkidle")
            sizes[room] = round(sum(page.evaluate(_SIZES)) / 1000.0, 1)
        return sizes
    finally:
        for context in contexts:
            context.close()
