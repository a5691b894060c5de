"""The contract of `fluxbench sheet`: a PDF file, one line of facts, one line of error."""

import json
from pathlib import Path

import pytest

from fluxbench.book import Book
from fluxbench.cli import main
from tests.benches.written_lineup import shown, whole, write_lineup


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_lineup(tmp_path / "book.db", shown(4), whole(4), lineup="first")
    return tmp_path / "book.db"


def test_the_newest_line_up_is_written(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_lineup(book, shown(4), whole(4), lineup="second", begun_at="2026-04-01T00:00:00.000Z")
    running = Book(book)  # as a bench has it
    assert main(["sheet", "--book", str(book), "--json"]) == 0
    running.close()
    out, err = capsys.readouterr()
    assert (out.count("\n"), err) == (1, "")
    facts = {"lineup": "second", "file": "line-up-second.pdf", "pages": 2}
    assert json.loads(out) == facts
    assert (book.parent / "line-up-second.pdf").read_bytes().startswith(b"%PDF-")


def test_a_file_is_not_written_over_unasked(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = ["sheet", "first", "--book", str(book), "--out", "kept.pdf"]
    (book.parent / "kept.pdf").write_text("mine")
    assert main(given) == 2
    assert capsys.readouterr().err == (
        "fluxbench: kept.pdf is there already; give another --out, or --overwrite\n"
    )
    assert (book.parent / "kept.pdf").read_text() == "mine"
    assert main([*given, "--overwrite"]) == 0
    assert "kept.pdf: line-up first, 2 pages" in capsys.readouterr().out
    assert main([*given[:-1], "no/such/folder.pdf"]) == 2
    assert "no/such/folder.pdf cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (["--book", "none.db"], 1, "there is no book none.db"),
        (["other", "--book", "book.db"], 2, "holds no line-up 'other'"),
        (["--book", "empty.db"], 2, "holds no line-up yet; line a deck up first"),
    ],
)
def test_what_is_not_there_is_said_in_one_line(
    book: Path, capsys: pytest.CaptureFixture[str], given: list[str], code: int, said: str
) -> None:
    Book(book.parent / "empty.db").close()
    assert main(["sheet", *given]) == code
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert said in err
