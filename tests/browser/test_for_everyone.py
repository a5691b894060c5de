"""Every screen by ear, in two lights and by the tab key; and what it shows, kept as a file."""

import csv
import io
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from playwright.sync_api import Page, expect

from fluxbench import book
from tests.benches.written_lineup import shown
from tests.browser.benches import Running, serving
from tests.browser.test_screens import faults_of

pytestmark = [pytest.mark.browser, pytest.mark.timeout(900)]

DECK = "corner"
READ = (("reproduce", "reproduce_level"), ("record level", "record_level"))


def made_book(path: Path) -> None:
    """A deck with six line-ups, two calibration tapes, two batches, and all else in one piece."""
    made = book.Book(path)

    def keep(of: str, name: str, /, **facts: object) -> None:
        written = {"name": name.capitalize(), **facts}
        made.keep(book.Writing(name, of, None, written, "2025-01-01T08:00:00Z"))

    keep("decks", DECK, format="1/4-inch 2-track US", speeds_ips=[15.0], equalisation="IEC1",
         operating_fluxivity_nwb_per_m=355.0)  # fmt: skip
    for tape in ("amber", "beech"):
        keep("tapes", tape, speed_ips=15.0, fluxivity_nwb_per_m=250.0, t2_us=35.0,
             sections=[{"frequency_hz": 1000.0, "seconds": 30.0}])  # fmt: skip
    keep("stocks", "plain", over_bias=[{"over_bias_db": 3.0, "speed_ips": 15.0}])
    for batch in ("0417", "0523"):
        keep("batches", batch, stock="plain")
    keep("heads", "rear", function="reproduce", deck=DECK)
    keep("notes", "washed", deck=DECK, on="2025-03-01", kind="cleaned")
    keep("reels", "evening", title="An evening", speed_ips=15.0, t2_us=35.0,
         operating_fluxivity_nwb_per_m=250.0, tones=[{"frequency_hz": 1000.0, "level_db": 0.0}],
         track_names=["low", "high"])  # fmt: skip
    keep("interfaces", "desk", host_api="JACK", inputs=2, outputs=2)
    for month in range(1, 7):
        at, name = f"2025-{month:02d}-05T09:00:00.000Z", f"run-{month}"
        row = book.LineUpRow(
            name, "line-up", at, shown(2), deck=DECK, speed_ips=15.0,
            tape="amber" if month < 4 else "beech", batch="0417" if month < 3 else "0523",
        )  # fmt: skip
        entries = [
            book.Entry(0, name, at, 1.0, what, fact)
            for what, fact in (
                ("as found", {"trimmer": "reproduce_level", "reading_db": [0.02, -0.05]}),
                ("as left", {"trimmer": "reproduce_level", "reading_db": [0.01, 0.0]}),
                ("closed", {"reason": None}),
            )
        ]
        readings = [
            book.Reading(of, stage, trimmer, track, kind, value, 0.01, "dB off target")
            for stage, trimmer in READ
            for of, kind, values in ((0, "found", (0.02, -0.05)), (1, "left", (0.01, 0.0)))
            for track, value in enumerate(values, 1)
        ]  # fmt: skip
        made.write(book.Page(name, row, entries, readings=readings, closed=True))
    made.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Running]:
    made_book(tmp_path / "book.db")
    with serving(tmp_path / "book.db") as running:
        yield running


ALL_DUE = """() => {
  document.activeElement?.blur();
  window.due = new Set([...document.querySelectorAll(
    'button, a[href], input, select, textarea, summary, [tabindex="0"]')]
    .filter((of) => of.tabIndex >= 0 && !of.disabled && of.checkVisibility()));
  return window.due.size;
}"""
AT_FOCUS = """() => {
  const of = document.activeElement;
  if (!of || of === document.body) return null;
  window.due.delete(of);
  const style = getComputedStyle(of);
  const box = of.getBoundingClientRect();
  const out = parseFloat(style.outlineWidth) + parseFloat(style.outlineOffset);
  const faults = [];
  if (style.outlineStyle !== "solid" || parseFloat(style.outlineWidth) < 2) faults.push("no ring");
  if (box.bottom < 1 || box.top > innerHeight - 1) faults.push("out of sight");
  for (let at = of.parentElement; at && at !== document.body; at = at.parentElement) {
    if (getComputedStyle(at).overflowX === "visible") continue;
    const clip = at.getBoundingClientRect();
    if (box.left - out < clip.left - 0.5 && box.right + out > clip.right + 0.5)
      faults.push(`its ring is cut off by ${at.className || at.tagName}`);
  }
  return faults.map((fault) => `${of.outerHTML.slice(0, 90)}: ${fault}`);
}"""
NEVER = """() => [...window.due].filter((of) => of.isConnected)
  .map((of) => `${of.outerHTML.slice(0, 90)}: never reached`)"""


def walk_by_tab(page: Page) -> list[str]:
    """Once around all that can have the focus; what is wrong on the way."""
    faults: list[str] = []
    for _ in range(3 * page.evaluate(ALL_DUE) + 8):  # a date takes three
        page.keyboard.press("Tab")
        faults += page.evaluate(AT_FOCUS) or []
        if page.evaluate("() => window.due.size") == 0:
            break
    return faults + list(page.evaluate(NEVER))


def is_for_everyone(page: Page) -> None:
    for light in ("dark", "light"):  # with less movement nothing fades over
        page.emulate_media(color_scheme=light)
        assert faults_of(page) == []
    assert walk_by_tab(page) == []


def kept(page: Page, name: str, kind: str) -> tuple[str, bytes]:
    """Save the picture of a name; the file's name and what is in it."""
    page.get_by_role("button", name=f"save: {name}", exact=True).tap()
    with page.expect_download() as download:
        page.get_by_role("group", name=f"Save: {name}").get_by_role("button", name=kind).tap()
    return download.value.suggested_filename, download.value.path().read_bytes()


def pictures_are_kept(page: Page) -> None:
    """A drawing of the page and a painted one: as SVG, PNG and CSV."""
    page.get_by_role("button", name="Reproduce level", exact=True).tap()
    name, svg = kept(page, "reproduce level, track 1", "SVG")
    assert name.startswith("Corner 2025-01-05 to 2025-06-05 Reproduce level, track 1")
    assert name.endswith(".svg")
    root = ElementTree.fromstring(svg)
    assert root[0].text is not None
    assert root[0].text.startswith(
        "Reproduce level, track 1: deviation from the target, dB · Corner"
    )
    assert b"font/woff2;base64" in svg
    looks = {part.get("fill") for part in root.iter() if part.get("fill")}
    assert "rgb(0, 95, 150)" in looks, "the blue of the day, though the page is dark or not"
    assert not re.search(rb"var\(|class=|url\(http", svg)
    _, table = kept(page, "reproduce level, track 1", "CSV")
    rows = list(csv.DictReader(io.StringIO(table.decode("utf-8-sig"))))
    assert [float(row["track 2 as found, dB off target"]) for row in rows] == [-0.05] * 6
    page.get_by_role("button", name="Batches side by side", exact=True).tap()
    name, png = kept(page, "record level", "PNG")
    assert png.startswith(b"\x89PNG")
    wide, high = struct.unpack(">II", png[16:24])
    assert (wide, high) == (1920, 2 * (74 + 14 + 2 * 44 + 34))
    assert len(png) > 8000, "more than an empty sheet"


def all_is_read(page: Page) -> None:
    """What comes late stands there: nothing else is reached by the tab key from now on."""
    expect(page.locator("main .leaf")).to_be_visible()
    expect(page.get_by_text(STILL_COMING)).to_have_count(0)


STILL_COMING = re.compile("^(Opening the book|Reading the history|Working it out|Looking|Fetching)")
ENTRIES: dict[str, tuple[str | re.Pattern[str], ...]] = {
    "decks": (re.compile("^Corner"),),
    "tapes": ("Calibration", re.compile("^Beech"), "Stock", "Reels", "Interfaces"),
    "history": (
        "What stands out", "Reproduce level", "Record level", "Batches", "Calibration tapes",
    ),
    "captures": ("Add a capture",),
    "workout": ("Level and flux", "Equalisation", "Waves", "Over-bias", "Azimuth", "Tape and time"),
}  # fmt: skip
"""What can be looked at, screen by screen."""


def test_every_screen_is_for_everyone(page: Page, bench: Running) -> None:
    """All rooms of the book, the bench and the practice deck."""
    page.emulate_media(reduced_motion="reduce")
    for screen, entries in ENTRIES.items():
        page.goto(f"{bench.address}/#{screen}")
        page.reload()
        for entry in entries:
            page.locator("nav.index").get_by_role("button", name=entry).first.tap()
            all_is_read(page)
            is_for_everyone(page)
        if screen == "history":
            pictures_are_kept(page)
        if screen in ("decks", "tapes"):
            page.get_by_role("navigation").locator("button").get_by_text("Add").first.tap()
            expect(page.get_by_role("form")).to_be_visible()
            is_for_everyone(page)
    page.goto(f"{bench.address}/#practice")
    page.reload()
    page.get_by_text("Faults", exact=True).tap()
    is_for_everyone(page)
    page.keyboard.press("b")
    page.keyboard.press("?")
    expect(page.get_by_role("button", name="close", exact=True)).to_be_focused()
    assert faults_of(page) == []
    page.keyboard.press("?")
    page.get_by_role("button", name="A reel from elsewhere").tap()
    is_for_everyone(page)
