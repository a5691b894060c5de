"""Every paper as Debian's tools see it: PDF/A, fonts inside, its size, its code, grey."""

import io
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from fluxbench.sheets import card_of, sheet_pdf, track_sheet_pdf
from tests.benches.pdf_rules import broken_rules
from tests.benches.written_lineup import shown, whole
from tests.unit.sheets.test_sheet import contents

pytestmark = pytest.mark.paper

POINTS = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}
"""ISO 216: 210 x 297 mm; ANSI Y14.1: 8.5 x 11 in; 72 points an inch."""


def tool(*command: str | Path) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def sizes(file: Path) -> list[tuple[float, float]]:
    told = tool("pdfinfo", "-l", "9", file)
    found = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+) pts", told)
    return [(float(a), float(b)) for a, b in found]


def assert_archivable(file: Path) -> None:
    """PDF/A-2b by its own word, every font inside, and by the rules that can be read off a file."""
    told = tool("pdfinfo", file)
    assert re.search(r"JavaScript: +no", told)
    assert re.search(r"Encrypted: +no", told)
    meta = tool("pdfinfo", "-meta", file)
    assert "<pdfaid:part>2</pdfaid:part>" in meta
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in meta
    fonts = tool("pdffonts", file).splitlines()[2:]
    assert fonts
    assert [line for line in fonts if not re.search(r" yes +yes +yes +\d+ +\d+$", line)] == []

    assert broken_rules(file) == []


def grey(file: Path, page: int = 1, dpi: int = 150) -> np.ndarray:
    found = subprocess.run(
        ["pdftoppm", "-gray", "-r", str(dpi), "-f", str(page), "-l", str(page), str(file)],
        check=True, capture_output=True,
    ).stdout  # fmt: skip
    return np.asarray(Image.open(io.BytesIO(found)))


@pytest.mark.parametrize(("paper", "tracks"), [("a4", 24), ("letter", 24), ("letter", 2)])
def test_the_sheet_of_a_line_up(tmp_path: Path, paper: str, tracks: int) -> None:
    told = contents(tmp_path, shown(tracks), whole(tracks))
    pdf = sheet_pdf(told, "1", paper, "http://192.168.1.20:7355")
    assert pdf == sheet_pdf(told, "1", paper, "http://192.168.1.20:7355")
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    assert_archivable(file)
    found = sizes(file)
    assert 1 <= len(found) <= 2
    assert all(size == pytest.approx(POINTS[paper], abs=0.1) for size in found)
    codes = zxingcpp.read_barcodes(grey(file, len(found)))
    assert [code.text for code in codes] == [
        f"http://192.168.1.20:7355/api/lineups/{told.lineup}/sheet"
    ]


@pytest.mark.parametrize(
    ("kept", "put", "rule"),
    [
        (b"/GTS_PDFA1", b"/GTS_PDFX1", "6.2.3 output intent"),
        (b"/ID", b"/IX", "6.1.3 file identifier"),
        (b"/FontFile3", b"/FontNone3", "6.2.11 fonts inside"),
        (b"/ToUnicode", b"/ToNothing", "text that cannot be read out: 2u asks for it"),
        (b"pdfaid:part", b"pdfaid:pare", "6.6.2 metadata"),
        (b"%PDF-1.7", b"%PDF-2.0", "6.1.2 header"),
    ],
)
def test_a_rule_that_is_broken_is_noticed(
    tmp_path: Path, kept: bytes, put: bytes, rule: str
) -> None:
    """Words changed in a small paper, as long as before: it opens, and is no PDF/A."""
    made = track_sheet_pdf(card_of({"tracks": 2}), "1")
    file = tmp_path / "broken.pdf"
    file.write_bytes(made.replace(kept, put))
    assert kept in made
    assert [one.startswith(rule) for one in broken_rules(file)] == [True]
