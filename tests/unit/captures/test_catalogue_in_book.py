"""What a catalogue found is in a book: one capture a path, a version for every change."""

from pathlib import Path

from fluxbench.book import Place, Records, Version
from fluxbench.captures.catalogue import Declared, InBook, catalogue
from tests.captures import made
from tests.captures.inline import InlineCrew


def written(folder: Path, name: str, level_dbfs: float) -> None:
    wave = made.tone(2.5, 48_000, 1000.0, [level_dbfs, -18.0], delays_us=(0.0, 0.0))
    made.written(folder / name, wave, 48_000)


def run(tmp_path: Path, place: Place) -> int:
    with InBook(place) as book:
        catalogue([str(tmp_path / "archive")], tmp_path / "out", lambda path: Declared(),
                  InlineCrew(), entered=book.add)  # fmt: skip
    return book.written


def captures(place: Place) -> dict[str, list[Version]]:
    records = Records(place)
    try:
        found = records.things("captures")
        return {v.facts["name"]: records.versions("captures", v.id) for v in found}
    finally:
        records.close()


def kinds(capture: Version) -> list[str]:
    return [fault["kind"] for fault in capture.facts["measured"]["faults"]]


def test_a_second_run_writes_what_changed_alone(tmp_path: Path, book_place: Place) -> None:
    reel = tmp_path / "archive" / "Reel 7"
    reel.mkdir(parents=True)
    written(reel, "=good.wav", -18.0)
    written(reel, "low.wav", -20.0)
    (reel / "bad.wav").write_bytes(b"no sound file")
    assert run(tmp_path, book_place) == 3
    first = captures(book_place)
    assert {name: len(versions) for name, versions in first.items()} == {
        "=good.wav": 1, "low.wav": 1, "bad.wav": 1,
    }  # fmt: skip
    (low,) = first["low.wav"]
    assert low.facts["path"] == str(reel / "low.wav")
    assert (low.facts["channels"], low.facts["rate_hz"], low.facts["seconds"]) == (2, 48_000, 2.5)
    assert low.facts["measured"]["reel"] == "Reel 7"
    assert low.facts["verdict"] == "repair"
    assert kinds(low) == ["balance"]
    assert first["bad.wav"][0].facts["verdict"] == "set aside"
    assert run(tmp_path, book_place) == 0
    assert captures(book_place) == first

    written(reel, "low.wav", -18.0)
    assert run(tmp_path, book_place) == 1
    second = captures(book_place)
    assert second["=good.wav"] == first["=good.wav"]
    assert second["low.wav"][0] == low
    assert kinds(second["low.wav"][1]) == []
    assert second["low.wav"][1].facts["sha256"] != low.facts["sha256"]

    written(reel, "low.wav", -20.0)  # as it was: a third version, not the first once more
    assert run(tmp_path, book_place) == 1
    third = captures(book_place)["low.wav"]
    assert len(third) == 3
    assert third[2].facts["measured"] == low.facts["measured"]
