"""Box label, spine and track sheet: what must stand on them, at which size, whatever is told."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp

from fluxbench.base import MisuseError
from fluxbench.book import Book, Records, Writing
from fluxbench.sheets import (
    Card,
    card_of,
    card_of_lineup,
    card_of_reel,
    label_file_name,
    label_pdf,
    pages_of,
    told_otherwise,
    track_sheet_pdf,
)
from tests.benches.written_lineup import shown, whole
from tests.unit.sheets.test_paper import POINTS, assert_archivable, grey, sizes
from tests.unit.sheets.test_sheet import HOSTILE, NAMES, contents, text_of

FACTS: dict[str, Any] = {
    "title": "Morning Field", "artist": "The Long Meadow", "client": "North Room",
    "date": "2026-03-12", "reel": "2 of 4", "speed_ips": 15.0, "equalisation": "35 µs",
    "operating_fluxivity_nwb_per_m": 320.0, "stock": "Stock K", "batch": "0417",
    "noise_reduction": "none", "tones": "1 kHz 0 dB 30 s", "record": "reel-7",
}  # fmt: skip


def reel(tracks: int, **facts: Any) -> Card:
    names = [f"name {n}" for n in range(1, tracks)]
    return card_of({**FACTS, "tracks": tracks, "track_names": names, **facts})


@pytest.mark.parametrize("press", [label_pdf, track_sheet_pdf])
def test_everything_that_is_told_stands_there(press: Any) -> None:
    text = text_of(press(reel(24), "1.2.3"))
    for said in (
        "Morning Field", "The Long Meadow", "North Room", "2026-03-12", "2 of 4", "TAILS OUT",
        "15 in/s (38.1 cm/s)", "35 µs", "0 VU = 320 nWb/m", "Stock K", "0417",
        "2-inch, 24 tracks", "1 kHz 0 dB 30 s", "name 23", "reel-7", "Fluxbench 1.2.3",
    ):  # fmt: skip
        assert said in text, said


@pytest.mark.parametrize(
    ("wound", "there", "not_there"),
    [
        ("tails out", ["TAILS OUT", "Rewind before playing"], ["HEADS OUT"]),
        ("heads out", ["HEADS OUT", "Store tails out"], ["TAILS OUT"]),
        (None, ["TAILS OUT", "HEADS OUT", "Tick one"], ["Rewind before"]),
    ],
)
def test_how_it_is_wound(wound: Any, there: list[str], not_there: list[str]) -> None:
    text = text_of(label_pdf(replace(reel(2), wound=wound), "1"))
    assert [said for said in there if said not in text] == []
    assert [said for said in not_there if said in text] == []


@pytest.mark.paper
def test_white_on_black_says_tails_out_without_colour(tmp_path: Path) -> None:
    """The darkest solid patch of a tails-out label is the one behind the words; heads has none."""

    def black(wound: Any) -> float:
        file = tmp_path / "label.pdf"
        file.write_bytes(label_pdf(replace(reel(2, record=None), wound=wound), "1"))
        return float(np.mean(grey(file, dpi=40) < 60))

    assert black("tails out") > 1.5 * black("heads out")


@pytest.mark.paper
@pytest.mark.parametrize(
    ("tracks", "paper", "inches", "label_mm", "spine_mm", "pages"),
    [
        (2, "a4", 10.5, (250, 162), 14, 1),
        (4, "letter", 10.5, (250, 162), 20, 1),
        (8, "letter", 7.0, (170, 118), 33, 1),
        (24, "a4", 10.5, (250, 162), 58, 2),
    ],
)
def test_labels_have_their_size_on_paper(
    tmp_path: Path, tracks: int, paper: str, inches: float, label_mm: Any, spine_mm: int, pages: int
) -> None:
    """Crop marks measured in the picture: they stand a label's or a spine's size apart."""
    pdf = label_pdf(reel(tracks, reel_diameter_in=inches), "1", paper)
    assert pdf == label_pdf(reel(tracks, reel_diameter_in=inches), "1", paper)
    file = tmp_path / "label.pdf"
    file.write_bytes(pdf)
    assert_archivable(file)
    short, long = POINTS[paper]
    size = (long, short) if inches > 7 else (short, long)
    assert sizes(file) == [pytest.approx(size, abs=0.1)] * pages
    dpi = 150
    dark = grey(file, dpi=dpi) < 160
    columns = np.flatnonzero(dark.any(axis=0))
    # The outer ends of the marks stand 5 mm outside of the label on either side.
    across_mm = (columns[-1] - columns[0]) * 25.4 / dpi
    assert across_mm == pytest.approx(label_mm[0] + 10, abs=0.6)
    left = dark[:, columns[0] : columns[0] + int(3.0 / 25.4 * dpi)]
    rows = np.flatnonzero(left.all(axis=1))
    edges_mm = rows[np.insert(np.diff(rows) > 3, 0, True)] * 25.4 / dpi
    heights_mm = np.diff(edges_mm)
    assert heights_mm[0] == pytest.approx(label_mm[1], abs=0.6)
    if pages == 1:
        assert heights_mm[2] == pytest.approx(spine_mm, abs=0.6)
    codes = [code.text for code in zxingcpp.read_barcodes(grey(file, dpi=dpi))]
    assert codes == ["reel-7"]


@pytest.mark.paper
@pytest.mark.parametrize(("tracks", "paper"), [(2, "a4"), (24, "letter")])
def test_a_track_sheet_is_one_page(tmp_path: Path, tracks: int, paper: str) -> None:
    pdf = track_sheet_pdf(reel(tracks), "1", paper, "http://192.168.1.20:7355")
    assert pdf == track_sheet_pdf(reel(tracks), "1", paper, "http://192.168.1.20:7355")
    file = tmp_path / "tracks.pdf"
    file.write_bytes(pdf)
    assert_archivable(file)
    assert sizes(file) == [pytest.approx(POINTS[paper], abs=0.1)]
    codes = [code.text for code in zxingcpp.read_barcodes(grey(file))]
    assert codes == ["http://192.168.1.20:7355/api/book/reels/reel-7/label"]


@pytest.mark.parametrize("text", [*HOSTILE, "=1+1", "@SUM(A1)", "-2", "\n" * 50, "‮" * 9])
def test_texts_from_outside_change_no_page(text: str) -> None:
    names = ("title", "artist", "client", "date", "reel", "equalisation", "noise_reduction")
    facts = dict.fromkeys((*names, "stock", "batch", "lined_up", "tones", "remark"), text)
    card = card_of({**facts, "tracks": 24, "track_names": [text] * 24, "record": text})
    for diameter_in, pages in ((7.0, 1), (10.5, 2)):
        assert pages_of(label_pdf(replace(card, reel_diameter_in=diameter_in), "1")) == pages
    made = track_sheet_pdf(card, "1")
    assert pages_of(made) == 1
    if text in HOSTILE:
        assert HOSTILE[text][:8] in text_of(made)


def test_a_card_of_nothing_is_to_be_written_on() -> None:
    text = text_of(label_pdf(card_of({}), "1"))
    assert "Title" in text
    assert "¼-inch, 2 tracks" in text


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"colour": "red"}, "a reel's colour cannot be so"),
        ({"tracks": 25}, "a reel's tracks cannot be so"),
        ({"reel_diameter_in": 5}, "give one of 7, 10.5"),
        ({"tape_width_in": 3}, "give one of 0.25, 0.5, 1, 2"),
        ({"speed_ips": float("nan")}, "a reel's speed_ips cannot be so"),
        ({"wound": "inside out"}, "'tails out' or 'heads out'"),
        ({"tracks": 2, "track_names": ["a", "b", "c"]}, "3 names of tracks for 2 tracks"),
        ({"track_names": "abc"}, "a reel's track_names cannot be so"),
        ({"x\n" * 99: 1}, "cannot be so"),
    ],
)
def test_what_no_reel_can_be_is_refused_in_one_line(facts: dict[str, Any], said: str) -> None:
    with pytest.raises(MisuseError, match=said) as refused:
        card_of(facts)
    assert "\n" not in str(refused.value)


def test_a_reel_after_a_line_up(tmp_path: Path) -> None:
    card = card_of_lineup(contents(tmp_path, shown(8, NAMES), whole(8)))
    assert (card.tracks, card.speed_ips, card.operating_fluxivity_nwb_per_m) == (8, 15.0, 355.0)
    assert (card.stock, card.equalisation) == ("Stock K", "35 µs (IEC1, CCIR)")
    assert (card.record, card.lined_up) == ("20260312-081500-7c1d", "2026-03-12 Room B")
    assert told_otherwise(card, {"title": "X", "track_names": ["a"]}).tracks == 8


@pytest.mark.parametrize(
    ("tails", "wound"), [(True, "tails out"), (False, "heads out"), (None, None)]
)
def test_a_reel_of_the_book(tmp_path: Path, tails: bool | None, wound: str | None) -> None:
    book = Book(tmp_path / "book.db")
    at = "2026-03-12T08:15:00.000Z"
    book.keep(Writing("s1", "stocks", None, {"name": "Stock K"}, at))
    told = {
        "name": "R 12", "title": "Morning Field", "recorded": "2026-03-12", "stock": "s1",
        "format": "2-inch 16-track", "speed_ips": 30.0, "t2_us": 17.5, "tails_out": tails,
        "operating_fluxivity_nwb_per_m": 510.0, "track_names": ["Kick"],
        "tones": [{"frequency_hz": 10_000.0, "level_db": -10.0, "seconds": 30.0}],
    }  # fmt: skip
    book.keep(Writing("r1", "reels", None, told, at))
    book.close()
    records = Records(tmp_path / "book.db")
    card = card_of_reel(records, "r1")
    with pytest.raises(MisuseError, match="holds no reel 'r2'"):
        card_of_reel(records, "r2")
    records.close()
    assert (card.title, card.reel, card.date) == ("Morning Field", "R 12", "2026-03-12")
    assert (card.tracks, card.width_in, card.track_names) == (16, 2.0, ("Kick",))
    assert (card.stock, card.speed_ips, card.wound) == ("Stock K", 30.0, wound)
    assert card.tones == "10 kHz −10 dB 30 s"
    assert card.equalisation is not None
    assert card.equalisation.startswith("17.5 µs")
    assert told_otherwise(card, {"title": "Y"}).wound == wound


@pytest.mark.parametrize("title", ["../../x", 'a"; b\r\nc', "x" * 300, "ü/\\:*?"])
def test_file_names_of_labels_are_safe(title: str) -> None:
    name = label_file_name(card_of({"title": title}), "label")
    assert name.isascii()
    assert not set(name) & set('/\\":*?\r\n ')
    assert len(name) < 90
