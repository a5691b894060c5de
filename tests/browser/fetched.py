"""What a browser fetches of the screens, over the wire, for one of them alone."""

from playwright.sync_api import Browser, Page

from tests.browser.benches import PASSED_FIRST
from tests.browser.conftest import PATIENCE_MS

ROOMS = ("bench", "decks", "tapes", "history", "captures", "workout", "practice")
MOST_KB = 120.0
"""Budget of a page."""

# The plots of the bench come last of all, two seconds after the page at the latest. What has come
# is all when nothing more has come for a while; other calls than for files go on for ever.
_QUIET_MS = 1500
_WHOLE = """([plots, quiet_ms, patience_ms]) => new Promise((done) => {
  const files = () => performance.getEntriesByType("resource")
    .map((entry) => entry.name).filter((name) => name.includes("/assets/"));
  const isThere = () => document.querySelector("main")
    && !document.querySelector(".shelf-waits .nothing")
    && document.fonts.status === "loaded"
    && (!plots || ["/plot-", "/drawings-"].every((file) => files()
      .some((name) => name.includes(file) && name.endsWith(".js"))));
  const give_up_ms = performance.now() + patience_ms;
  let [count, since_ms] = [-1, 0];
  const timer = setInterval(() => {
    const now_ms = performance.now();
    if (now_ms > give_up_ms) done(clearInterval(timer) ?? false);
    else if (!isThere() || files().length !== count) [count, since_ms] = [files().length, now_ms];
    else if (now_ms - since_ms > quiet_ms) done(clearInterval(timer) ?? true);
  }, 50);
})"""
_SIZES = """[...performance.getEntriesByType("navigation"),
  ...performance.getEntriesByType("resource").filter((r) => r.name.includes("/assets/"))]
  .map((entry) => entry.transferSize)"""


def all_has_come(page: Page, *, plots: bool) -> None:
    """Wait until the screen stands there, with all files that it fetches."""
    assert page.evaluate(_WHOLE, [plots, _QUIET_MS, PATIENCE_MS]), "something has not come"


def fetched_by(page: Page) -> float:
    """What came over the wire, in kB."""
    return round(sum(page.evaluate(_SIZES)) / 1000.0, 1)


def fetched_kb(browser: Browser, address: str) -> dict[str, float]:
    """Each screen in a browser that has nothing yet: all files that it fetches, in kB."""
    contexts = [browser.new_context() for _ in ROOMS]
    for context in contexts:
        context.add_init_script(PASSED_FIRST)
        context.set_default_timeout(PATIENCE_MS)
    try:
        pages = {room: of.new_page() for room, of in zip(ROOMS, contexts, strict=True)}
        for room, page in pages.items():
            page.goto(f"{address}/#{room}")
        sizes = {}
        for room, page in pages.items():
            all_has_come(page, plots=room == "bench")
            sizes[room] = fetched_by(page)
        return sizes
    finally:
        for context in contexts:
            context.close()
