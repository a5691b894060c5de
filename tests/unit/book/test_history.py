"""Readings over time, and corrections beside what they correct."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from fluxbench.base import ConflictError, MisuseError
from fluxbench.book import (
    Book,
    Correction,
    Entry,
    Page,
    Place,
    Records,
    export,
    import_archive,
)
from tests.unit.book.kept import AT, keep, line_up, taken, told

DAYS = [f"2026-01-0{day}T10:00:00.000Z" for day in (1, 2, 3)]


@pytest.fixture
def book(book_place: Place) -> Iterator[Book]:
    opened = Book(book_place)
    for number, day in enumerate(DAYS):
        line_up(opened, f"l{number}", day, [
            taken(3.0 + number), taken(9.0, track=1), taken(8.0, trimmer="record_level"),
            taken(None, track=None, trimmer="record_azimuth", kind="found"),
        ])  # fmt: skip
    line_up(opened, "other", DAYS[0], [taken(7.0)], deck="d2")
    yield opened
    opened.close()


def test_a_history_is_of_one_deck_trimmer_and_track_in_order(book: Book) -> None:
    rows = book.history("d1", "bias", "bias", 2)
    assert [(r.at, r.lineup, r.reading) for r in rows] == [
        (day, f"l{n}", 3.0 + n) for n, day in enumerate(DAYS)
    ]
    assert book.history("d1", None, "bias", 2, since=DAYS[1], until=DAYS[2]) == rows[1:2]
    assert book.history("d1", "verify", "bias", 2) == []
    assert book.history("d1", None, "bias", 2, speed_ips=30.0) == []
    assert [r.reading for r in book.history("d2", None, "bias", 2)] == [7.0]
    assert [r.kind for r in book.history("d1", None, "record_azimuth", None)] == ["found"] * 3
    assert [r.id for r in book.lineups_of("d1")] == ["l0", "l1", "l2"]


def test_a_correction_counts_and_the_reading_stays(book: Book) -> None:
    row = book.history("d1", None, "bias", 2)[1].row
    before = told(book.place, "readings")
    asked = Correction("k1", row, AT, "needle stuck", 2.5, 0.1, "me")
    assert book.correct(asked).reading == 2.5
    assert book.correct(asked) == book.correct(asked)
    found = book.history("d1", None, "bias", 2)[1]
    assert told(book.place, "readings") == before
    assert len(told(book.place, "corrections")) == 1
    assert (found.reading, found.error) == (2.5, 0.1)
    assert found.corrected == {
        "was": 4.0, "was_error": 0.02, "at": AT, "who": "me", "why": "needle stuck",
    }  # fmt: skip
    book.correct(Correction("k2", row, AT, "no reading at all", None))
    assert book.history("d1", None, "bias", 2)[1].reading is None
    assert book.readings_of("l1")[0].corrected is not None


def test_corrections_that_cannot_be(book: Book) -> None:
    with pytest.raises(MisuseError, match="no reading 999"):
        book.correct(Correction("k1", 999, AT, "why", 1.0))
    book.correct(Correction("k1", 1, AT, "why", 1.0))
    with pytest.raises(ConflictError):
        book.correct(Correction("k1", 1, AT, "why", 2.0))
    keep_id = Correction("c-l0", 1, AT, "why", 2.0)
    with pytest.raises(ConflictError):
        book.correct(keep_id)


OFF = {"trimmer": "bias", "unit": "dB off target"}


def off_target(book: Book) -> None:
    """Two line-ups with readings off target, one of them written on two pages."""
    for name, day in zip(("b", "a"), DAYS, strict=False):
        line_up(book, name, day, [
            taken(0.3, track=1, kind="found", **OFF), taken(None, track=2, kind="found", **OFF),
            taken(0.02, track=1, kind="left", **OFF), taken(9.9, track=1, **OFF),
            taken(1.5, None, kind="left", trimmer="record_azimuth", unit="arcmin"),
        ], deck="d3")  # fmt: skip
    entry = Entry(0, "a", AT, 2.0, "as left", {})
    again = [taken(0.01, track=1, kind="left", **OFF), taken(-0.04, kind="left", **OFF)]
    book.write(Page(lineup="a", entries=[entry], readings=again, at=AT))


def off_target_told(book: Records) -> set[tuple[object, ...]]:
    """The same from the packs; each reading apart, with its place among its like."""
    visits = book.visits_of("d3")
    packs = book.packs_at(visits, ["bias", "record_azimuth"])
    return {
        (p.lineup, p.trimmer, p.kind, p.unit, track, reading, error)
        for p in packs
        for track, reading, error in zip(p.track, p.reading, p.error, strict=True)
    }


def expected(book: Records) -> set[tuple[object, ...]]:
    """From the readings themselves."""
    units = {"dB off target": "dB", "arcmin": "arcmin"}
    return {
        (name, r.trimmer, r.kind, units[r.unit], r.track, r.reading, r.error)
        for name in ("a", "b")
        for r in book.readings_of(name)
        if r.kind in ("found", "left")
    }


def test_packs_tell_what_the_readings_tell(book: Book, tmp_path: Path) -> None:
    off_target(book)
    assert len(off_target_told(book)) == 10
    assert off_target_told(book) == expected(book)
    at = book.visits_of("d3")
    assert book.trimmers_told(at) == [("bias", "dB", 2), ("record_azimuth", "arcmin", 1)]
    left = [p for p in book.packs_at(at, ["bias"]) if (p.lineup, p.kind) == ("a", "left")]
    assert [list(p.reading) for p in left] == [[0.02], [0.01, -0.04]], "in the order of reading"
    row = next(r.row for r in book.readings_of("a") if r.reading == 0.01)
    book.correct(Correction("k9", row, AT, "read aloud wrongly", 0.05, 0.03))
    assert off_target_told(book) == expected(book)
    assert any(cells[-2:] == (0.05, 0.03) for cells in off_target_told(book))
    export(book.place, tmp_path / "a.zip", "json", overwrite=False)
    import_archive(tmp_path / "a.zip", tmp_path / "again.db")
    again = Records(tmp_path / "again.db")
    assert off_target_told(again) == expected(book)
    again.close()


def test_an_older_book_is_packed_when_it_comes_up(tmp_path: Path) -> None:
    place = tmp_path / "book.db"
    book = Book(place)
    off_target(book)
    told = off_target_told(book)
    book.close()
    with closing(sqlite3.connect(place)) as connection:
        connection.execute("DROP TABLE packs")
        connection.execute("UPDATE alembic_version SET version_num = '0003'")
        connection.commit()
    book = Book(place)
    assert off_target_told(book) == told
    book.close()


def test_a_history_is_found_by_its_index(tmp_path: Path) -> None:
    """What keeps it quick in a book of any size; how quick is measured in the benchmarks."""
    Book(tmp_path / "book.db").close()
    with closing(sqlite3.connect(tmp_path / "book.db")) as connection:
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT * FROM readings WHERE deck = 'd1' AND trimmer = 'bias' "
            "AND track = 2 AND at >= '2026' ORDER BY at, row"
        ).fetchall()
        packs = connection.execute(
            "EXPLAIN QUERY PLAN SELECT * FROM packs WHERE lineup IN ('a', 'b') "
            "AND trimmer IN ('bias')"
        ).fetchall()
    assert len(plan) == 1
    assert "USING INDEX readings_over_time (deck=? AND trimmer=? AND track=? AND at>?)" in str(plan)
    assert "USING INDEX packs_of_lineup (lineup=? AND trimmer=?)" in str(packs)


def test_records_read_beside_a_bench(book: Book) -> None:
    records = Records(book.place)
    try:
        assert records.history("d1", None, "bias", 2) == book.history("d1", None, "bias", 2)
        keep(book, "i1", "interfaces", {"name": "Desk", "host_api": "JACK"})
        assert records.things("interfaces")[0].facts["name"] == "Desk"
    finally:
        records.close()


def test_speeds_are_told_apart(book: Book) -> None:
    """Each speed has trimmers of its own: what one was left at is no beginning for the other."""
    line_up(book, "fast", "2026-02-01T10:00:00.000Z", [taken(1.0)], speed_ips=30.0)
    assert [v.lineup for v in book.visits_of("d1", 15.0)] == ["l0", "l1", "l2"]
    assert [v.lineup for v in book.visits_of("d1")] == ["fast"], "the speed of the newest"
    line_up(book, "again", "2026-03-01T10:00:00.000Z", [taken(1.0)])
    assert [v.lineup for v in book.visits_of("d1")] == ["l0", "l1", "l2", "again"]
    assert book.visits_of("nobody") == []
