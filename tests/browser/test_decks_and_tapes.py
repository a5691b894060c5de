"""The screens of the book: a deck by five answers, a line-up begun with it, and its history."""

import re
import uuid
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from fluxbench import book
from tests.benches.made_pictures import made_picture
from tests.benches.written_lineup import shown
from tests.browser.benches import Running, serving
from tests.browser.conftest import PACE, SIZES
from tests.browser.test_screens import assert_no_faults_in_either_light, faults_of
from tests.browser.waits import (
    SOON_MS,
    comes_to,
    fits,
    holds_meanwhile,
    let_deck_until,
    size_asked_for,
    watch,
    watched,
)

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]


LONG_ROOM = "long-room"
DRIFT_DB = -0.06
"""What track 2 loses from one line-up to the next, a month later; track 1 stays."""


def made_book(path: Path) -> None:
    """A deck with a history: eight line-ups, a month apart, each trimmed back to the target."""
    made = book.Book(path)
    five = {
        "name": "Long room", "format": "1/4-inch 2-track US", "speeds_ips": [15.0],
        "equalisation": "IEC1", "operating_fluxivity_nwb_per_m": 355.0,
    }  # fmt: skip
    made.keep(book.Writing(LONG_ROOM, "decks", None, five, "2025-01-01T08:00:00Z"))
    for month in range(1, 9):
        at, name = f"2025-{month:02d}-05T09:00:00.000Z", f"run-{month}"
        row = book.LineUpRow(name, "line-up", at, shown(2), deck=LONG_ROOM, speed_ips=15.0)
        told = [(0.004 * (month % 2), DRIFT_DB), (0.004 * (month % 2), 0.0)]
        facts = [{"trimmer": "reproduce_level", "reading_db": list(read)} for read in told]
        steps = [("as found", facts[0]), ("as left", facts[1]), ("closed", {"reason": None})]
        entries = [book.Entry(0, name, at, 1.0, what, fact) for what, fact in steps]
        readings = [
            book.Reading(of, "reproduce", "reproduce_level", track, kind, value, 0.01,
                         "dB off target")
            for of, kind in ((0, "found"), (1, "left"))
            for track, value in enumerate(told[of], 1)
        ]  # fmt: skip
        made.write(book.Page(name, row, entries, readings=readings, closed=True))
    made.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Running]:
    made_book(tmp_path / "book.db")
    with serving(tmp_path / "book.db", pace=PACE) as running:
        yield running


def add(bench: Running, kind: str, /, **facts: Any) -> str:
    """Put a thing in the book; its id."""
    body = {"id": uuid.uuid4().hex, "facts": facts}
    status, told = bench.post(f"/api/book/{kind}", body)
    assert status == 200, told
    return str(told["id"])


def test_five_answers_make_a_deck_that_a_line_up_begins_with(page: Page, bench: Running) -> None:
    """By touch; on the way a refusal, which loses nothing, and a look at Tapes."""
    add(bench, "tapes", name="Blue box", speed_ips=15.0, fluxivity_nwb_per_m=250.0,
        t2_us=35.0)  # fmt: skip
    page.goto(bench.address + "/#decks")
    page.get_by_role("button", name="Add a deck").tap()
    form = page.get_by_role("form", name="A new deck: five answers")
    form.get_by_label("What is it called?").fill("Corridor")
    form.get_by_label("Which tracks on which tape?").select_option("1/4-inch 2-track US")
    speeds = form.get_by_role("group", name="Which speeds does it run at?")
    speeds.get_by_role("button", name="15", exact=True).tap()
    form.get_by_role("button", name="IEC1").tap()
    form.get_by_label("Which operating level?", exact=True).fill("about 250")
    form.get_by_role("button", name="Put it in the book").tap()
    expect(form).to_contain_text("“about 250” is not a number")
    expect(form.get_by_label("Which operating level?", exact=True)).to_be_focused()
    assert faults_of(page) == []

    page.get_by_role("button", name="Tapes").tap()
    expect(page.get_by_role("heading", name="Blue box")).to_be_visible()
    page.reload()  # a tablet forgets pages that it does not show
    page.get_by_role("button", name="Decks").tap()
    expect(form.get_by_label("What is it called?")).to_have_value("Corridor")
    form.get_by_role("button", name="250", exact=True).tap()
    form.get_by_role("button", name="Put it in the book").tap()

    deck = page.get_by_role("region", name="Corridor")
    expect(deck).to_contain_text("1/4-inch 2-track US · 15 in/s · IEC1 · 250 nWb/m")
    spacing = deck.get_by_role(
        "button", name=re.compile("^Record gap to reproduce gap: .* it is so")
    )
    spacing.tap()
    expect(spacing).to_have_count(0)
    assert_no_faults_in_either_light(page)
    for wide, high in SIZES.values():
        fits(page, wide, high)

    deck.get_by_role("button", name="Begin the line-up").tap()
    expect(page.locator(".bench")).to_be_visible()  # Decks says what is asked as well, and sooner
    expect(page.get_by_text("Stop the tape and listen to the input")).to_be_visible()
    begun = bench.get("/api/lineups")["lineups"][0]
    things = bench.get("/api/book/decks")["things"]
    assert things[0]["facts"]["name"] == "Corridor"
    assert (begun["deck"], begun["speed_ips"]) == (things[0]["id"], 15.0)
    assert begun["tape"] is not None  # the only one of this speed stood there already
    assert things[0]["facts"]["head_spacing_mm"] is not None

    page.keyboard.press("d")  # what is looked up meanwhile does not hide what the bench waits for
    expect(page.get_by_text("The bench waits:")).to_be_visible()
    page.keyboard.press("Enter")  # and is not done unseen
    assert bench.get("/api/state")["ask"]["number"] == 1
    expect(deck.get_by_role("link", name=re.compile("^Sheet of "))).to_be_visible()

    page.keyboard.press("h")
    page.get_by_label("Deck", exact=True).select_option(LONG_ROOM)
    page.get_by_role("button", name="Reproduce level", exact=True).tap()
    page.get_by_role("button", name=re.compile("^Track 2")).tap()
    trace = page.get_by_role("region", name="reproduce level, track 2")
    expect(trace.get_by_role("img", name=re.compile("8 line-ups from 2025-01-05"))).to_be_visible()
    expect(trace.locator(".trace svg .mark-found")).to_have_count(8)
    expect(trace.locator(".trace svg .mark-left")).to_have_count(8)
    year_db = float(
        re.search(r"drifts by −(\d\.\d\d) dB a year", trace.inner_text())[1]  # type: ignore[index]
    )
    # A month is 30.4 days in the mean; what is lost in a year is twelve times that of a month.
    assert year_db == pytest.approx(-12 * DRIFT_DB, abs=0.1)
    slider = trace.get_by_role("slider", name="Line-up")
    slider.focus()
    page.keyboard.press("Home")
    expect(trace.locator("figcaption")).to_contain_text("2025-01-05")
    expect(trace.locator("figcaption")).to_contain_text("found −0.06 ± 0.01 dB")
    assert faults_of(page) == []


def listened_s(bench: Running, ask: str) -> float:
    """How much tape went by from the answer to an ask to the next one."""
    lineup = bench.get("/api/state")["lineup"]["id"]
    told = bench.get(f"/api/lineups/{lineup}/journal")["journal"]
    asks = [one for one in told if one["what"] in ("ask", "answered")]
    at = next(n for n, one in enumerate(asks) if one["facts"].get("text", "") == ask.lower())
    return float(asks[at + 2]["t"] - asks[at + 1]["t"])


def test_a_working_copy_is_begun_on_its_tapes_page_and_told_on_its_own(
    page: Page, bench: Running
) -> None:
    """As far as the first section of the calibration tape; then the page of one made before."""
    facts = {"speed_ips": 15.0, "fluxivity_nwb_per_m": 250.0, "t2_us": 35.0}
    tone = {"frequency_hz": 1000.0, "seconds": 30.0}
    house = add(bench, "tapes", name="House tape", sections=[tone], **facts)
    read = {"correction_db": 0.12, "track_corrections_db": [0.05, -0.05], "uncertainty_db": 0.03}
    add(bench, "tapes", name="An older copy", working_copy_of=house, width="tracks",
        sections=[{**tone, **read}], **facts)  # fmt: skip
    page.goto(bench.address + "/#tapes")
    page.get_by_role("button", name=re.compile("^An older copy")).tap()
    told = page.get_by_role("region", name="Corrections track by track")
    expect(told.get_by_role("row").nth(1)).to_have_text(
        re.compile(r"^1\s*1 kHz\s*0.03\s*\+0.17\s*\+0.07$")
    )
    page.get_by_role("button", name=re.compile("^House tape")).tap()
    make = page.get_by_role("button", name="Make a working copy")
    expect(make).to_be_disabled()
    page.get_by_label("Its name").last.fill("House copy 1")
    assert_no_faults_in_either_light(page)
    make.tap()
    expect(page.get_by_text("Load scrap tape")).to_be_visible()
    watch(page, ".focus .big")
    section = page.locator(".focus", has_text="Section 1: 1 kHz, ends in")
    let_deck_until(page, lambda: section.count() > 0)
    big = watched(page)
    first = big.index("Load the calibration tape")
    record = next(at for at, text in enumerate(big) if "record" in text)
    assert "Hands off: the bench listens" in big[record:first], "safe is proved on scrap tape"
    assert listened_s(bench, big[record]) > 1.0, "and before the tape is loaded"
    for wide, high in SIZES.values():
        fits(page, wide, high)
        time_told = page.get_by_label("Tape time")
        expect(time_told).to_contain_text("ends in")
        assert time_told.evaluate("of => of.scrollHeight <= of.clientHeight"), "nothing is cut off"
    assert faults_of(page) == []


def test_a_trimmer_is_marked_on_a_photograph_and_shown_at_the_bench(
    page: Page, bench: Running, tmp_path: Path
) -> None:
    """Added as a file, marked by touch and by keys; then beside the trimmer in hand."""
    # A real photograph is larger than the book takes: this one has 2000 points each way.
    (tmp_path / "card.png").write_bytes(made_picture("png", 2000, 1500))
    page.goto(bench.address + "/#decks")
    page.get_by_role("button", name="Mark them").tap()
    card = page.get_by_role("region", name="Where its trimmers are")
    with page.expect_file_chooser() as chosen:
        card.get_by_text("Add a photograph").tap()
    chosen.value.set_files(tmp_path / "card.png")
    card.get_by_label("What is it called?").fill("Rear card")
    card.get_by_role("button", name="Put it in the book").tap()
    picture = card.get_by_role("group", name="Picture of Rear card with its marks")
    image = picture.get_by_role("img", name="Photograph of Rear card")
    expect(image).to_be_visible()
    card.get_by_role("combobox", name="Trimmer").select_option("reproduce_level")
    card.get_by_role("button", name="Mark it in the middle").tap()
    mark = picture.get_by_role("button", name=re.compile("^reproduce level: 50 % from the left"))
    mark.focus()
    for _ in range(2):
        page.keyboard.press("ArrowLeft")
    card.get_by_role("combobox", name="Trimmer").select_option("bias")
    card.get_by_role("combobox", name="Card of").select_option("2")
    assert image.evaluate("of => of.decode().then(() => of.naturalWidth)") == 1600
    box = picture.bounding_box()
    assert box is not None
    picture.tap(position={"x": box["width"] * 0.75, "y": box["height"] * 0.5})
    expect(card.get_by_role("list", name="Marks").get_by_role("listitem")).to_have_count(2)
    assert faults_of(page) == []

    def kept() -> list[list[Any]]:
        told = bench.get("/api/book/cards")["things"][0]["facts"]
        return [[m["trimmer"], m["track"], m["x"], m["y"]] for m in told["marks"]]

    wanted = [["reproduce_level", None, 0.49, 0.5], ["bias", 2, 0.75, 0.5]]
    comes_to(page, kept, lambda rows: len(rows) == len(wanted))
    assert [row[:2] for row in kept()] == [row[:2] for row in wanted]
    assert [row[2:] for row in kept()] == [pytest.approx(row[2:], abs=0.01) for row in wanted]

    body = {"id": "part", "command": "begin", "kind": "part", "deck": LONG_ROOM, "speed_ips": 15.0,
            "stages": ["reproduce"], "trimmers": ["reproduce_level"]}  # fmt: skip
    assert bench.post("/api/commands", body)[0] == 200
    page.keyboard.press("b")
    where = page.get_by_role("button", name=re.compile("^where"))
    shown_there = page.get_by_role("region", name="Where it is: reproduce level, track 1")
    near = shown_there.get_by_role("img", name=re.compile("^Rear card: reproduce level in the"))

    # The section of tape that the trimmer is read on ends now and then, and is wound back to.
    def it_stands_there(wide: int, high: int) -> None:
        if where.get_attribute("aria-pressed", timeout=SOON_MS) != "true":
            where.tap(timeout=SOON_MS)
        expect(near).to_be_visible(timeout=SOON_MS)
        expect(shown_there).to_contain_text("Mains voltage inside the deck", timeout=SOON_MS)
        assert size_asked_for(page) == [wide, high]
        verdict, below = (
            page.locator(of).bounding_box(timeout=SOON_MS) for of in (".verdict", ".where")
        )
        assert verdict is not None
        assert below is not None
        assert verdict["y"] + verdict["height"] <= below["y"], "it covers no verdict"

    for wide, high in SIZES.values():
        page.set_viewport_size({"width": wide, "height": high})
        holds_meanwhile(page, partial(it_stands_there, wide, high))
    page.keyboard.press("g")
    expect(page.locator(".where")).to_have_count(0)
    page.keyboard.press("p")

    def it_stands_on_practice() -> None:
        if where.get_attribute("aria-pressed", timeout=SOON_MS) != "true":
            page.keyboard.press("g")
        expect(page.locator(".practice .where svg.near")).to_be_visible(timeout=SOON_MS)

    holds_meanwhile(page, it_stands_on_practice)
    assert faults_of(page) == []


def test_what_stands_inside_a_page_is_retired_and_taken_back(page: Page, bench: Running) -> None:
    """Heads and notes of a deck, batches of a stock, calibrations of an interface."""
    head = {"name": "Rear head", "function": "reproduce", "deck": LONG_ROOM}
    add(bench, "heads", **head)
    note = {"name": "Cleaned by night", "on": "2025-03-01", "kind": "cleaned", "deck": LONG_ROOM}
    add(bench, "notes", **note)
    stock = add(bench, "stocks", name="Stock K")
    add(bench, "batches", name="0417", stock=stock)
    interface = add(bench, "interfaces", name="Desk", host_api="JACK")
    add(bench, "calibrations", name="By the meter", interface=interface, on="2025-01-01",
        uncertainty_db=0.1, how="a meter",
        channels=[{"channel": 1, "side": "in", "full_scale_dbu": 20.0}])  # fmt: skip
    for at, box, name in (
        ("decks", None, "Rear head"), ("decks", None, "Cleaned by night"),
        ("tapes", "Stock", "0417"), ("tapes", "Interfaces", "By the meter"),
    ):  # fmt: skip
        page.goto(f"{bench.address}/#{at}")
        page.reload()
        if box is not None:
            page.get_by_role("button", name=box, exact=True).tap()
        leaf = page.locator(".leaf")
        expect(leaf).to_contain_text(name)
        leaf.get_by_role("button", name=f"Retire: {name}", exact=True).tap()
        leaf.get_by_text("1 retired").tap()
        assert faults_of(page) == []
        leaf.get_by_role("button", name=f"Take back: {name}", exact=True).tap()
        expect(leaf.get_by_text("1 retired")).to_have_count(0)
        expect(leaf.get_by_role("button", name=f"Retire: {name}", exact=True)).to_be_visible()
