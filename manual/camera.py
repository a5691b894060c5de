"""How a screen is brought to where it is worth seeing, and drawn: for `manual.pictures`."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.benches import PASSED_FIRST
from tests.browser.conftest import ARGUMENTS, CHROMIUM, PATIENCE_MS, SIZES

AMISS = "amiss.txt"
LEAST_FINGER_PX = 44
"""The side of a target for a finger, whatever is drawn of it: WCAG 2.2, criterion 2.5.5."""
LOOK = """(finger) => {
  const amiss = [], whole = document.documentElement;
  if (whole.scrollWidth > innerWidth || whole.scrollHeight > innerHeight)
    amiss.push(`the page asks for ${whole.scrollWidth} by ${whole.scrollHeight}`);
  const name = (one) => `${one.tagName.toLowerCase()}.${one.getAttribute("class") ?? ""} `
    + `"${(one.getAttribute("aria-label") ?? one.textContent).trim().slice(0, 40)}"`;
  const shown = (one) => one.checkVisibility() && !one.closest(".unseen, svg");
  const keys = "button:not(.word), a.button, select, input, summary";
  for (const one of document.querySelectorAll(keys)) {
    if (!shown(one) || one.disabled) continue;
    const of = one.matches("[type=checkbox]") && one.closest("label") || one;
    const at = of.getBoundingClientRect(), more = getComputedStyle(one, "::after");
    const grown = (...sides) => more.position !== "absolute" ? 0
      : sides.reduce((sum, side) => sum + Math.max(0, -parseFloat(more[side])), 0);
    const wide = at.width + grown("left", "right"), high = at.height + grown("top", "bottom");
    if (at.width && (wide < finger - 0.5 || high < finger - 0.5))
      amiss.push(`${Math.round(wide)} by ${Math.round(high)} for a finger: ${name(one)}`);
  }
  for (const one of document.body.querySelectorAll("*")) {
    if (!shown(one)) continue;
    const { overflowX, overflowY } = getComputedStyle(one), box = one.getBoundingClientRect();
    const far = one.scrollHeight - one.clientHeight, wide = one.scrollWidth - one.clientWidth;
    const scrolls = /auto|scroll/;
    if (far > 1 && scrolls.test(overflowY)) amiss.push(`scrolls by ${far}: ${name(one)}`);
    if (wide > 1 && scrolls.test(overflowX)) amiss.push(`scrolls aside by ${wide}: ${name(one)}`);
    if (wide > 1 && overflowX === "hidden") amiss.push(`cut by ${wide}: ${name(one)}`);
    if (box.right > innerWidth + 1 && box.width > 1) amiss.push(`beyond the edge: ${name(one)}`);
  }
  return amiss;
}"""
"""What a rule can see: the page scrolls, a key is small for a finger, something is cut."""


class Camera:
    """Draws what a page shows, in both lights and both sizes."""

    def __init__(self, page: Page, to: Path) -> None:
        self.page, self.to = page, to

    def draw(self, name: str) -> None:
        """Files NAME-LIGHT-WIDTHxHEIGHT.png; what a rule finds amiss goes to a list beside them."""
        for light in ("dark", "day"):
            self.page.emulate_media(color_scheme="dark" if light == "dark" else "light")
            for wide, high in SIZES.values():
                self.page.set_viewport_size({"width": wide, "height": high})
                self.page.wait_for_timeout(500)  # colours fade over
                drawn = small(self.page.screenshot())
                (self.to / f"{name}-{light}-{wide}x{high}.png").write_bytes(drawn)
                if light == "dark":
                    self._note(f"{name}, {wide} by {high}")
        self.page.set_viewport_size({"width": SIZES["tablet"][0], "height": SIZES["tablet"][1]})
        print(f"  {name}", flush=True)

    def _note(self, what: str) -> None:
        amiss = dict.fromkeys(self.page.evaluate(LOOK, LEAST_FINGER_PX))
        with (self.to / AMISS).open("a", encoding="utf-8") as list_:
            list_.writelines(f"{what}: {one}\n" for one in amiss)


def small(png: bytes) -> bytes:
    """The picture with 256 colours of its own, which is all that a screen of ours needs."""
    with Image.open(BytesIO(png)) as whole:
        written = BytesIO()
        whole.convert("RGB").quantize(256).save(written, "PNG", optimize=True)
    return written.getvalue()


@contextmanager
def browsing(program: str | Path = CHROMIUM) -> Iterator[Browser]:
    """A browser, closed afterwards."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=program, args=ARGUMENTS)
        yield browser
        browser.close()


def tablet(browser: Browser, address: str, first: bool = False) -> Page:
    """A tablet that looks at the bench; with `first` as a newcomer has it."""
    wide, high = SIZES["tablet"]
    context = browser.new_context(viewport={"width": wide, "height": high}, has_touch=True)
    if not first:
        context.add_init_script(PASSED_FIRST)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(address)
    page.wait_for_timeout(3000)
    return page


def screen(page: Page, key: str, *buttons: str) -> None:
    """Go to a screen by its key, and press what is named, where it is there."""
    page.evaluate("document.activeElement?.blur()")  # a field would take the key for itself
    page.keyboard.press("Escape")
    page.keyboard.press("Shift+Escape")
    page.keyboard.press(key)
    page.wait_for_timeout(1500)
    for name in buttons:
        press(page, name)


def press(page: Page, name: str) -> None:
    """Press what bears the name, and wait for what comes of it."""
    page.get_by_role("button", name=name).or_(page.get_by_role("tab", name=name)).first.click()
    page.wait_for_timeout(1000)


def until(page: Page, there: Callable[[], bool], seconds: float = 240.0) -> None:
    """Let the practice deck do what is asked of it, until something is there."""
    does = page.get_by_role("button", name="Let the practice deck do it")
    for _ in range(round(2 * seconds)):
        if there():
            return
        if does.count() and does.first.is_enabled():
            does.first.click()
        page.wait_for_timeout(500)
    raise TimeoutError("what was to be drawn did not come")


def state(page: Page) -> dict[str, Any]:
    """What the bench says of itself."""
    return dict(page.request.get(page.url.partition("#")[0] + "api/state").json())


def post(page: Page, path: str, **body: Any) -> None:
    """One call of the bench."""
    answer = page.request.post(page.url.partition("#")[0] + f"api/{path}", data=body)
    assert answer.ok, answer.text()


def end(page: Page) -> None:
    """End whatever runs."""
    key = f"stop-{state(page)['seq']}"
    post(page, "commands", id=key, command="stop", reason="the musicians are here")
    for _ in range(60):
        if state(page)["lineup"]["closed"]:
            return
        page.wait_for_timeout(500)


def part(page: Page, stages: list[str]) -> None:
    """Begin a part of a line-up."""
    post(page, "commands", id=f"{stages[0]}-1", command="begin", kind="part", stages=stages)
