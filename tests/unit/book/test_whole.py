"""The whole book out and in without loss, copied while it is written, and never half."""

import csv
import io
import json
import sqlite3
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fluxbench.base import BookError, FluxbenchError, MisuseError
from fluxbench.book import (
    Book,
    Records,
    archive_schema,
    backup,
    export,
    import_archive,
    restore,
)
from fluxbench.book import _archive as archive_module
from fluxbench.book._cells import from_cell, from_json, to_cell, to_json
from tests.unit.book.kept import fill, line_up, taken
from tests.unit.book.test_migrations import first_book


@pytest.fixture
def place(tmp_path: Path) -> Path:
    fill(tmp_path / "book.db")
    return tmp_path


def dump(path: Path) -> list[str]:
    """All that is in a database, as the library of the language tells it."""
    with closing(sqlite3.connect(path)) as connection:
        return sorted(connection.iterdump())


# Archives.


@pytest.mark.parametrize("rows", ["json", "csv"])
def test_a_book_comes_back_without_loss(place: Path, rows: Any) -> None:
    told = export(place / "book.db", place / "a.zip", rows, overwrite=False)
    assert (told.rows["lineups"], told.rows["things"], told.rows["corrections"]) == (2, 3, 1)
    assert import_archive(place / "a.zip", place / "again.db").rows == told.rows
    assert dump(place / "again.db") == dump(place / "book.db")
    export(place / "again.db", place / "b.zip", rows, overwrite=False)
    assert (place / "a.zip").read_bytes() == (place / "b.zip").read_bytes()
    Book(place / "again.db").close()


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40) | st.sampled_from(
    ["", "=1+2", "+1", "-1", "@x", "'", "''=", "\t=", "\r=", "a\r\nb", 'a"b,c', "\0"]
)
HOLDS = {
    "text": TEXTS,
    "int": st.integers(-(2**63), 2**63 - 1),
    "float": st.floats(allow_nan=False, allow_infinity=False),
    "bool": st.booleans().map(int),
    "json": st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
        | TEXTS,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
        max_leaves=8,
    ).map(json.dumps),
}  # fmt: skip
COLUMNS = {holds: holds for holds in HOLDS}
ROWS = st.fixed_dictionaries({holds: st.none() | values for holds, values in HOLDS.items()})


@settings(max_examples=60, deadline=None)
@given(ROWS)
def test_any_row_comes_back_from_json(row: dict[str, Any]) -> None:
    assert from_json(to_json(row, COLUMNS), COLUMNS) == row


@settings(max_examples=60, deadline=None)
@given(ROWS)
def test_any_row_comes_back_from_csv_and_none_of_its_texts_is_a_formula(
    row: dict[str, Any],
) -> None:
    text = io.StringIO(newline="")
    cells = [to_cell(row[name], name) for name in COLUMNS]
    csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\r\n").writerow(cells)
    data = text.getvalue().encode().splitlines(keepends=True)  # at \n, \r and \r\n alone
    (read,) = csv.reader((line.decode() for line in data), strict=True)
    assert {n: from_cell(n, c, n) for n, c in zip(COLUMNS, read, strict=True)} == row
    assert not read[0].startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_what_a_spreadsheet_opens_has_no_formula(place: Path) -> None:
    export(place / "book.db", place / "a.zip", "csv", overwrite=False)
    with zipfile.ZipFile(place / "a.zip") as archive:
        (row, *_) = csv.DictReader(io.TextIOWrapper(archive.open("lineups.csv"), newline=""))
    assert row["stopped"] == "'=enough"


def test_the_lines_fit_the_schema_that_comes_with_them(place: Path) -> None:
    export(place / "book.db", place / "a.zip", "json", overwrite=False)
    with zipfile.ZipFile(place / "a.zip") as archive:
        schema = json.loads(archive.read("schema.json"))
        assert schema == archive_schema()
        jsonschema.Draft202012Validator.check_schema(schema)
        for table in schema["$defs"]:
            check = jsonschema.Draft202012Validator(schema["$defs"][table])
            for line in archive.read(f"{table}.jsonl").splitlines():
                check.validate(json.loads(line))


def test_the_schema_in_the_docs_is_the_one_in_the_archives() -> None:
    page = Path(__file__).parents[3] / "docs" / "reference" / "book-archive.schema.json"
    assert json.loads(page.read_text()) == archive_schema()


def test_an_archive_of_the_first_version_comes_up(tmp_path: Path, monkeypatch: Any) -> None:
    """Made here as its version would have: its tables and columns, and no others."""
    first_book(tmp_path / "old.db")
    with closing(sqlite3.connect(tmp_path / "old.db")) as connection:
        connection.row_factory = sqlite3.Row
        parts, told = {}, {}
        for table in ("lineups", "journal", "steps", "readings", "commands"):
            found = [dict(row) for row in connection.execute(f"SELECT * FROM {table}")]
            columns = {n: h for n, h in archive_module.columns_of(table).items() if n in found[0]}
            parts[table] = "".join(to_json(row, columns) + "\n" for row in found).encode()
            told[table] = {
                "rows": len(found), "columns": list(columns),
                "sha256": archive_module.hashlib.sha256(parts[table]).hexdigest(),
            }  # fmt: skip
    manifest = {"format": "fluxbench book", "version": 1, "book": "0001", "rows": "json",
                "tables": told, "sequences": {"journal": 9}}  # fmt: skip
    with zipfile.ZipFile(tmp_path / "old.zip", "w") as archive:
        archive.writestr("manifest.json", json.dumps(manifest))
        for table, data in parts.items():
            archive.writestr(f"{table}.jsonl", data)
    import_archive(tmp_path / "old.zip", tmp_path / "new.db")
    records = Records(tmp_path / "new.db")
    assert [r.reading for r in records.history(None, None, "bias", 2)] == [2.9, 2.9]
    records.close()


Change = Callable[[dict[str, bytes]], None]


def changed_manifest(**facts: Any) -> Change:
    def change(parts: dict[str, bytes]) -> None:
        parts["manifest.json"] = json.dumps(json.loads(parts["manifest.json"]) | facts).encode()

    return change


def signed(name: str, data: bytes) -> Change:
    """Other rows, with a manifest that fits them: what somebody means harm by."""

    def change(parts: dict[str, bytes]) -> None:
        parts[name] = data
        manifest = json.loads(parts["manifest.json"])
        told = manifest["tables"][name.partition(".")[0]]
        told["sha256"] = archive_module.hashlib.sha256(data).hexdigest()
        told["rows"] = data.count(b"\n")
        parts["manifest.json"] = json.dumps(manifest).encode()

    return change


def with_part(name: str, data: bytes) -> Change:
    return lambda parts: parts.update({name: data})


THING = {"row": 1, "id": "d", "kind": "decks", "at": "2026", "facts": {}, "retired": False}
BAD: dict[str, tuple[Change, str]] = {
    "path": (with_part("../../evil.jsonl", b"{}"), "no part of a book"),
    "absolute path": (with_part("/etc/evil", b""), "no part of a book"),
    "no manifest": (lambda parts: parts.pop("manifest.json") and None, "no manifest"),
    "manifest": (with_part("manifest.json", b"[1]"), "cannot be understood"),
    "deep manifest": (with_part("manifest.json", b"[" * 200_000), "cannot be understood"),
    "newer": (changed_manifest(book="0999"), "newer Fluxbench"),
    "newer form": (changed_manifest(version=2), "newer Fluxbench"),
    "other format": (changed_manifest(format="songs"), "cannot be understood"),
    "missing table": (lambda parts: parts.pop("journal.jsonl") and None, "names other tables"),
    "changed": (with_part("commands.jsonl", b""), "was cut or changed"),
    "not JSON": (signed("commands.jsonl", b"{]\n"), "line 1: is no JSON object"),
    "not finite": (signed("commands.jsonl", b'{"id": NaN}\n'), "is no JSON object"),
    "infinite": (
        signed("commands.jsonl", b'{"id": "a", "at": "b", "answer": 1e999}\n'), "not finite",
    ),
    "other field": (signed("commands.jsonl", b'{"name": 1}\n'), "other fields"),
    "other type": (signed("commands.jsonl", b'{"id": 5}\n'), "id is no text"),
    "left out": (signed("commands.jsonl", b'{"id": "5"}\n'), "do not fit together"),
    "no UTF-8": (signed("commands.jsonl", b'{"id": "\xff"}\n'), "utf-8"),
    "half a character": (
        signed("commands.jsonl", b'{"id": "\\ud800", "at": "x", "answer": 1}\n'), "surrogates",
    ),
    "a deck that cannot be": (
        signed("things.jsonl", json.dumps(THING).encode() + b"\n"), "thing 'd': name",
    ),
    "no such line-up": (
        signed("steps.jsonl", b'{"row": 1, "lineup": "nobody", "number": 0, "name": "x",'
               b' "is_part": false, "state": {}}\n'), "do not fit together",
    ),
}  # fmt: skip


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_archive_is_refused_in_one_line_and_nothing_is_changed(place: Path, bad: str) -> None:
    change, said = BAD[bad]
    export(place / "book.db", place / "a.zip", "json", overwrite=False)
    with zipfile.ZipFile(place / "a.zip") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(place / "bad.zip", "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    refused(place, place / "bad.zip", said)


def refused(place: Path, archive: Path, said: str) -> None:
    before = sorted(place.rglob("*"))
    with pytest.raises(BookError, match=said) as error:
        import_archive(archive, place / "new.db")
    assert "\n" not in str(error.value)
    assert sorted(place.rglob("*")) == before


def test_an_archive_that_was_cut_or_flipped_anywhere(place: Path) -> None:
    """Refused, or (where the flip means nothing to a zip file) the very same book."""
    export(place / "book.db", place / "a.zip", "json", overwrite=False)
    whole = (place / "a.zip").read_bytes()
    bad, new = place / "bad.zip", place / "new.db"
    for at in range(0, len(whole), max(1, len(whole) // 12)):
        bad.write_bytes(whole[:at])
        refused(place, bad, "not imported")
        bad.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        try:
            import_archive(bad, new)
        except FluxbenchError:
            assert not new.exists()
        else:
            assert dump(new) == dump(place / "book.db")
            new.unlink()


def test_what_is_no_archive(place: Path) -> None:
    refused(place, place / "book.db", "no archive")
    with pytest.raises(MisuseError, match="there is no archive"):
        import_archive(place / "none.zip", place / "new.db")


def test_an_archive_that_would_fill_the_disk(place: Path, monkeypatch: Any) -> None:
    export(place / "book.db", place / "a.zip", "json", overwrite=False)
    monkeypatch.setattr(archive_module, "LARGEST", 1000)
    refused(place, place / "a.zip", "unpack to more than")


def test_no_book_is_imported_over(place: Path) -> None:
    export(place / "book.db", place / "a.zip", "json", overwrite=False)
    before = (place / "book.db").read_bytes()
    with pytest.raises(MisuseError, match="is there already"):
        import_archive(place / "a.zip", place / "book.db")
    with pytest.raises(MisuseError, match="is there already"):
        export(place / "book.db", place / "a.zip", "json", overwrite=False)
    assert (place / "book.db").read_bytes() == before


# Copies.


def test_a_backup_while_a_bench_writes_is_a_state_that_was(place: Path) -> None:
    book, over, wrote = Book(place / "book.db"), threading.Event(), threading.Event()
    names: list[str] = []

    def write() -> None:
        while not over.is_set():
            names.append(f"n{len(names)}")
            line_up(book, names[-1], "2026-03-01T00:00:00.000Z", [taken(1.0), taken(2.0, 1)])
            wrote.set()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(4):
            wrote.clear()
            assert wrote.wait(120.0)
            least = len(names) - 1
            count = backup(place / "book.db", place / f"{number}.db", overwrite=False)
            assert count >= 2 + least
            records = Records(place / f"{number}.db")
            assert all(len(records.readings_of(n)) == 2 for n in names[:least])
            records.close()
    finally:
        over.set()
        writer.join()
        book.close()
    assert sorted(p.name for p in place.iterdir() if p.name.startswith("0.")) == ["0.db"]


def test_a_damaged_book_makes_no_backup(place: Path) -> None:
    data = bytearray((place / "book.db").read_bytes())
    for at in range(3 * 4096, len(data), 4096):
        data[at : at + 64] = b"\x07" * 64
    (place / "book.db").write_bytes(data)
    with pytest.raises(BookError, match=r"damaged|cannot be"):
        backup(place / "book.db", place / "copy.db", overwrite=False)
    assert not (place / "copy.db").exists()


def test_a_restored_book_is_the_backup(place: Path) -> None:
    book, copy = place / "book.db", place / "copy.db"
    before = dump(book)
    backup(book, copy, overwrite=False)
    opened = Book(book)
    line_up(opened, "later", "2026-04-01T00:00:00.000Z", [])
    with pytest.raises(BookError, match="in use by another bench"):
        restore(copy, book, overwrite=True)
    opened.close()
    with pytest.raises(MisuseError, match="is there already"):
        restore(copy, book, overwrite=False)
    assert dump(book) != before
    assert restore(copy, book, overwrite=True) == 2
    assert dump(book) == before
    assert restore(copy, place / "deep" / "new.db", overwrite=False) == 2


def test_a_log_that_the_old_book_left_is_not_played_into_the_new_one(place: Path) -> None:
    book, copy = place / "book.db", place / "copy.db"
    backup(book, copy, overwrite=False)
    before = dump(book)
    opened = Book(book)
    line_up(opened, "later", "2026-04-01T00:00:00.000Z", [])
    log = book.with_name("book.db-wal").read_bytes()
    opened.close()
    book.with_name("book.db-wal").write_bytes(log)  # as a bench that was killed leaves it
    restore(copy, book, overwrite=True)
    assert dump(book) == before


def test_an_older_backup_comes_up_and_what_is_none_is_refused(place: Path) -> None:
    first_book(place / "old.db")
    assert restore(place / "old.db", place / "book.db", overwrite=True) == 2
    Records(place / "book.db").close()
    before = (place / "book.db").read_bytes()
    (place / "notes.txt").write_text("no database " * 100)
    with pytest.raises(BookError, match="cannot be opened"):
        restore(place / "notes.txt", place / "book.db", overwrite=True)
    assert (place / "book.db").read_bytes() == before
