"""Pictures of every screen: `python -m manual.pictures`, into build/pictures.

A bench with a practice deck of four tracks is brought into states worth seeing, and one with the
book of an invented studio shows its years; each is drawn dark and day, at 1180x820 and 1280x800.
`--keep` copies the few that pages show to docs/pictures. It needs Chromium and the built screens,
and takes a quarter of an hour: the deck runs in real time.
"""

import argparse
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from fluxbench.rehearsal import write_demo_book
from tests.browser.benches import PASSED_FIRST, Running, serving
from tests.browser.conftest import ARGUMENTS, CHROMIUM, SIZES
from tests.browser.hands import Setting

ROOT = Path(__file__).parents[1]
TO = ROOT / "build" / "pictures"
KEPT = {
    "first-turns": "tutorial-first-turns",
    "bench": "tutorial-bench",
    "asked": "tutorial-asked",
    "reproduce": "tutorial-reproduce",
    "bias": "tutorial-bias",
    "exercises": "tutorial-exercises",
    "verified": "tutorial-verified",
    "history": "tutorial-history",
}
"""Which are shown in pages, and as which file: dark ones at 1180x820."""
MOST_BYTES = 150_000
TRACKS = 4


class Camera:
    """Draws what a page shows, in both lights and both sizes."""

    def __init__(self, page: Page, to: Path) -> None:
        self._page, self._to = page, to

    def draw(self, name: str) -> None:
        """Files NAME-LIGHT-WIDTHxHEIGHT.png."""
        for light in ("dark", "day"):
            self._page.emulate_media(color_scheme="dark" if light == "dark" else "light")
            for wide, high in SIZES.values():
                self._page.set_viewport_size({"width": wide, "height": high})
                self._page.wait_for_timeout(500)  # colours fade over
                drawn = small(self._page.screenshot())
                (self._to / f"{name}-{light}-{wide}x{high}.png").write_bytes(drawn)
        self._page.set_viewport_size({"width": SIZES["tablet"][0], "height": SIZES["tablet"][1]})
        print(f"  {name}", flush=True)


def small(png: bytes) -> bytes:
    """The picture with 128 colours of its own, which is all that a screen of ours needs."""
    with Image.open(BytesIO(png)) as whole:
        written = BytesIO()
        whole.convert("RGB").quantize(128).save(written, "PNG", optimize=True)
    return written.getvalue()


@contextmanager
def opened(bench: Running, first: bool = False) -> Iterator[Page]:
    """The bench in a browser; with `first` as a newcomer has it."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(viewport={"width": 1180, "height": 820}, has_touch=True)
        if not first:
            context.add_init_script(PASSED_FIRST)
        page = context.new_page()
        page.goto(bench.address)
        page.wait_for_timeout(3000)
        yield page
        browser.close()


def screen(page: Page, key: str, *buttons: str) -> None:
    """Go to a screen by its key, and press what is named, where it is there."""
    page.keyboard.press("Escape")
    page.keyboard.press("Shift+Escape")
    page.keyboard.press(key)
    page.wait_for_timeout(1500)
    for name in buttons:
        found = page.get_by_role("button", name=name).or_(page.get_by_role("tab", name=name))
        found.first.click()
        page.wait_for_timeout(1000)


def studio(page: Page, camera: Camera) -> None:
    """What a book of two years shows."""
    for name, key, buttons in (
        ("decks", "d", ()),
        ("tapes", "t", ("Calibration",)),
        ("stock", "t", ("Stock",)),
        ("interfaces", "t", ("Interfaces",)),
        ("history", "h", ()),
        ("history-trimmer", "h", ("Reproduce high end",)),
    ):
        screen(page, key, *buttons)
        camera.draw(name)


def quiet(page: Page, camera: Camera) -> None:
    """What a new bench shows that needs no tape."""
    camera.draw("bench")
    for name, key, buttons in (
        ("work-out", "w", ()),
        ("captures", "c", ()),
        ("practice", "p", ()),
        ("exercises", "p", ("Exercises",)),
    ):
        screen(page, key, *buttons)
        camera.draw(name)
    page.keyboard.press("?")
    page.wait_for_timeout(500)
    camera.draw("help")


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


def line_up(page: Page, camera: Camera) -> None:
    """The beginning of one: what is asked, then the calibration tape with a trimmer in hand."""
    page.keyboard.press("b")
    page.get_by_role("button", name="Begin the line-up").click()
    page.get_by_text("Stop the tape and listen to the input").wait_for()
    camera.draw("asked")
    until(page, lambda: page.locator(".focus .number").count() > 0)
    page.wait_for_timeout(6000)
    camera.draw("reproduce")
    end(page)


def end(page: Page) -> None:
    """End whatever runs."""
    page.request.post(
        page.url.partition("#")[0] + "api/commands",
        data={"id": "stop-" + str(state(page)["seq"]), "command": "stop", "reason": "drawn"},
    )
    for _ in range(60):
        if state(page)["lineup"]["closed"]:
            return
        page.wait_for_timeout(500)


def part(page: Page, stages: list[str]) -> None:
    """Begin a part of a line-up."""
    answer = page.request.post(
        page.url.partition("#")[0] + "api/commands",
        data={"id": f"{stages[0]}-1", "command": "begin", "kind": "part", "stages": stages},
    )
    assert answer.ok, answer.text()


class _Drawn(Exception):  # noqa: N818 - no error: it ends what the hand was doing
    """What was wanted has been drawn."""


def bias(page: Page, camera: Camera) -> None:
    """The peak has been passed, and the hand is on its way to the sheet's over-bias."""
    part(page, ["bias"])
    until(page, lambda: page.locator(".focus .number, .focus .who").count() > 0)
    screen(page, "p")
    page.get_by_label("Which trimmer").select_option("bias")

    def draw() -> None:
        screen(page, "b")
        camera.draw("bias")
        raise _Drawn

    with suppress(_Drawn):
        Setting(page, 1).done(120.0, draw)
    end(page)


def azimuth(page: Page, camera: Camera) -> None:
    """A stack's screw, seen as delay across the tape."""
    part(page, ["azimuth"])
    until(page, lambda: page.locator(".focus .number").count() > 0)
    page.wait_for_timeout(6000)
    camera.draw("azimuth")
    end(page)


def verified(page: Page, camera: Camera) -> None:
    """Every quantity of every track, the worst first."""
    page.keyboard.press("b")
    page.get_by_role("button", name="Verify the deck").click()
    page.wait_for_timeout(500)
    camera.draw("verify")
    page.get_by_role("button", name="Begin to verify").click()
    until(page, lambda: page.locator(".focus.ended").count() > 0, 600.0)
    page.wait_for_timeout(1500)
    camera.draw("verified")


def keep(drawn: Path) -> None:
    """Copy those that pages show to docs/pictures."""
    for name, kept in KEPT.items():
        picture = drawn / f"{name}-dark-1180x820.png"
        assert picture.stat().st_size < MOST_BYTES, f"{name} is too large for a page"
        shutil.copy(picture, ROOT / "docs" / "pictures" / f"{kept}.png")


SCENES: dict[str, Callable[[Page, Camera], None]] = {
    "first": lambda _page, camera: camera.draw("first-turns"),
    "quiet": quiet,
    "line-up": line_up,
    "azimuth": azimuth,
    "bias": bias,
    "verified": verified,
    "studio": studio,
}


def main() -> None:
    """Draw all scenes, or those that are named."""
    parser = argparse.ArgumentParser(prog="python -m manual.pictures", description=__doc__)
    parser.add_argument("scenes", nargs="*", help=f"of {', '.join(SCENES)}; all if left out")
    parser.add_argument("--to", type=Path, default=TO, metavar="FOLDER")
    parser.add_argument("--keep", action="store_true", help="those of the pages, too")
    given = parser.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    for name in given.scenes or SCENES:
        with tempfile.TemporaryDirectory() as home:
            book = Path(home) / "book.db"
            if name == "studio":
                write_demo_book(book)
            with serving(book, TRACKS) as bench, opened(bench, first=name == "first") as page:
                SCENES[name](page, Camera(page, given.to))
    if given.keep:
        keep(given.to)
    print(given.to)


if __name__ == "__main__":
    main()
