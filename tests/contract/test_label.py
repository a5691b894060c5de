"""The contract of `fluxbench label` and `track-sheet`: a PDF file, one line of facts or error."""

import json
from pathlib import Path

import pytest

from fluxbench.cli import main
from tests.benches.written_lineup import shown, whole, write_lineup


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_label_from_a_file_and_options(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "reel.toml").write_text('title = "Morning Field"\ntrack_names = ["Kick", "Bass"]\n')
    given = ["label", "reel.toml", "--artist", "The Long Meadow", "--tracks", "8", "--json"]
    assert main(given) == 0
    out, err = capsys.readouterr()
    assert (out.count("\n"), err) == (1, "")
    assert json.loads(out) == {"file": "label-Morning-Field.pdf", "pages": 2, "tracks": 8}
    assert (here / "label-Morning-Field.pdf").read_bytes().startswith(b"%PDF-")
    assert main(given) == 2
    assert "is there already" in capsys.readouterr().err


def test_a_track_sheet_after_the_newest_line_up(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_lineup(here / "book.db", shown(8), whole(8), lineup="first")
    (here / "reel.json").write_text('{"title": "X"}')
    given = ["track-sheet", "reel.json", "--lineup", "newest", "--book", "book.db"]
    assert main([*given, "--paper", "letter", "--out", "t.pdf", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"file": "t.pdf", "pages": 1, "tracks": 8}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["none.toml"], "none.toml cannot be read"),
        (["bad.toml"], "bad.toml is neither TOML nor, named .json, JSON"),
        (["list.json"], "list.json holds no names with values"),
        (["deep.json"], "deep.json is neither TOML nor"),
        (["noise.toml"], "noise.toml is no text"),
        (["--tracks", "25"], "a reel's tracks cannot be so"),
        (["--paper", "a3"], "there is no paper 'a3'; give one of a4, letter"),
        (["--reel-id", "a", "--lineup", "b"], "give one of them"),
        (["--address", "http://example.org", "--lineup", "x", "--book", "book.db"], "'x'"),
    ],
)
def test_misuse_is_one_line(
    here: Path, capsys: pytest.CaptureFixture[str], given: list[str], said: str
) -> None:
    (here / "bad.toml").write_text("title = ")
    (here / "list.json").write_text("[1]")
    (here / "deep.json").write_text("[" * 100_000)
    (here / "noise.toml").write_bytes(bytes(range(128, 256)))
    write_lineup(here / "book.db", shown(2), [("begun", {"kind": "line-up"})], lineup="first")
    assert main(["label", *given]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert said in err
    assert list(here.glob("*.pdf")) == []
