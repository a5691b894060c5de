"""A book as one zip file of plain tables, and back: hostile until it is read to its end."""

import csv
import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import IO, Any, Literal

from sqlalchemy import JSON, Boolean, Connection, Text, cast, delete, insert, select
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from fluxbench.base import BookError, MisuseError
from fluxbench.book._cells import (
    CellError,
    columns_of,
    from_cell,
    from_json,
    schema,
    to_cell,
    to_json,
)
from fluxbench.book._kinds import thing_of
from fluxbench.book._numbers import numbers_given, set_numbers
from fluxbench.book._open import engine_for, is_known, reason_of, upgrade_in
from fluxbench.book._packs import pack_all
from fluxbench.book._place import Place
from fluxbench.book._tables import HEAD, METADATA, PACKS
from fluxbench.book._whole import new_book, new_file, put_in_place, refuse_another_version

FORMAT, VERSION = "fluxbench book", 1
MANIFEST, SCHEMA = "manifest.json", "schema.json"
TABLES = [table.name for table in METADATA.sorted_tables]
LARGEST = 8 * 2**30
"""Bytes of all tables unpacked; a year of a busy studio is about a hundredth of it."""
LONGEST_LINE = 32 * 2**20
LONGEST_MANIFEST = 2**20
AT_ONCE = 500

Rows = Literal["json", "csv"]


@dataclass(frozen=True, slots=True)
class Told:
    """What was written or read: rows by table."""

    place: Place
    rows: Mapping[str, int]


def export(book: Place, out: Path, rows: Rows, *, overwrite: bool) -> Told:
    """Write a book to an archive, also while a bench writes to it; BookError, MisuseError."""
    refuse_another_version(book)
    engine = engine_for(book, writes=False)
    try:
        # One transaction: one state of the book, whatever is written meanwhile.
        with new_file(out, overwrite=overwrite) as part, engine.begin() as connection:
            told: dict[str, Any] = {}
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
                for table in TABLES:
                    name = f"{table}.{_ending(rows)}"
                    with archive.open(_info(name), "w", force_zip64=True) as member:
                        told[table] = _write_table(connection, table, rows, member)
                _put(archive, SCHEMA, schema())
                _put(archive, MANIFEST, {
                    "format": FORMAT, "version": VERSION, "book": HEAD, "rows": rows,
                    "tables": told, "sequences": numbers_given(connection),
                })  # fmt: skip
            put_in_place(part, out, overwrite=overwrite)
    except SQLAlchemyError as error:
        reason = reason_of(book, error)
        raise BookError(f"the book {book} cannot be read ({reason}); nothing was written") from None
    finally:
        engine.dispose()
    return Told(out, {table: told[table]["rows"] for table in TABLES})


def _ending(rows: Rows) -> str:
    return "jsonl" if rows == "json" else "csv"


def _info(name: str) -> zipfile.ZipInfo:
    """Without the time of day: the same book gives the same bytes."""
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _put(archive: zipfile.ZipFile, name: str, facts: Mapping[str, Any]) -> None:
    archive.writestr(_info(name), json.dumps(facts, indent=1))


def _write_table(
    connection: Connection, table: str, rows: Rows, member: IO[bytes]
) -> dict[str, Any]:
    columns = columns_of(table)
    digest, count = hashlib.sha256(), 0

    def put(text: str) -> None:
        data = text.encode()
        digest.update(data)
        member.write(data)

    if rows == "csv":
        put(_csv_line(list(columns)))
    kept = METADATA.tables[table]
    values = [cast(c, Text).label(c.name) if isinstance(c.type, JSON) else c for c in kept.columns]
    asked = select(*values).order_by(*kept.primary_key.columns)
    found = connection.execution_options(yield_per=AT_ONCE).execute(asked)
    for row in map(dict, found.mappings()):
        count += 1
        if rows == "json":
            put(to_json(row, columns) + "\n")
        else:
            put(_csv_line([to_cell(row[name], holds) for name, holds in columns.items()]))
    return {"rows": count, "columns": list(columns), "sha256": digest.hexdigest()}


def _csv_line(cells: list[str]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\r\n").writerow(cells)
    return text.getvalue()


def import_archive(archive: Path, book: Place) -> Told:
    """Make a book of an archive; nothing is there if anything is wrong with it.

    MisuseError if there is a book already, BookError for what is no sound archive.
    """
    if not archive.is_file():
        raise MisuseError(f"there is no archive {archive}")
    try:
        with zipfile.ZipFile(archive) as opened, new_book(book) as connection:
            manifest = _manifest(opened)
            upgrade_in(connection, book, manifest["book"])
            counts = {
                table: _read_table(connection, opened, table, manifest)
                for table in TABLES
                if table in manifest["tables"]
            }
            set_numbers(connection, manifest["sequences"])
            upgrade_in(connection, book, HEAD)
            connection.execute(delete(PACKS))  # those of an upgrade on the way
            pack_all(connection)
    except (zipfile.BadZipFile, EOFError, zlib.error) as error:
        raise _bad(f"it is no archive, or was cut ({_line(error)})") from None
    except (CellError, UnicodeError, NotImplementedError, csv.Error) as error:
        raise _bad(_line(error)) from None
    except OperationalError as error:
        raise BookError(f"{book} cannot be written ({reason_of(book, error)})") from None
    except (SQLAlchemyError, RuntimeError, OverflowError) as error:
        raise _bad(f"its rows do not fit together ({reason_of(book, error)[:200]})") from None
    except OSError as error:
        if error.filename is None and not isinstance(error, FileNotFoundError):
            raise _bad(f"it cannot be read ({_line(error)})") from None
        raise MisuseError(f"{error.filename} cannot be opened ({error.strerror})") from None
    return Told(book, counts)


def _line(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


def _bad(why: str) -> BookError:
    return BookError(f"this archive is not imported: {why}; nothing was changed")


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    """The manifest of an archive that is what it says; BookError if not."""
    names = [info.filename for info in archive.infolist()]
    known = {MANIFEST, SCHEMA, *(f"{t}.{e}" for t in TABLES for e in ("jsonl", "csv"))}
    if strange := [name for name in names if name not in known]:
        raise _bad(f"it holds {strange[0]!r}, which is no part of a book")
    if len(set(names)) < len(names) or MANIFEST not in names:
        raise _bad("it has no manifest, or a part twice")
    if sum(info.file_size for info in archive.infolist()) > LARGEST:
        raise _bad(f"it would unpack to more than {LARGEST // 2**30} GiB")
    with archive.open(MANIFEST) as member:
        text = member.read(LONGEST_MANIFEST + 1)
    try:
        manifest: dict[str, Any] = json.loads(text[: LONGEST_MANIFEST + 1])
        _check(manifest, set(names))
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError):
        raise _bad("its manifest cannot be understood") from None
    return manifest


def _check(manifest: Mapping[str, Any], names: set[str]) -> None:
    if manifest["format"] != FORMAT:
        raise ValueError(manifest["format"])
    if manifest["version"] != VERSION or not is_known(manifest["book"]):
        raise _bad("it was written by a newer Fluxbench; use that one")
    ending = {"json": "jsonl", "csv": "csv"}[manifest["rows"]]
    if {f"{table}.{ending}" for table in manifest["tables"]} != names - {MANIFEST, SCHEMA}:
        raise _bad("its manifest names other tables than it holds")
    for table, told in manifest["tables"].items():
        if not set(told["columns"]) <= columns_of(table).keys():
            raise _bad(f"its {table} have columns that no book has")
        int(told["rows"]), str(told["sha256"])
    for name, number in manifest["sequences"].items():
        if name not in TABLES or not 0 <= int(number) < 2**62:
            raise ValueError(name)


def _read_table(
    connection: Connection,
    archive: zipfile.ZipFile,
    table: str,
    manifest: Mapping[str, Any],
) -> int:
    told = manifest["tables"][table]
    holds = columns_of(table)
    columns = {name: holds[name] for name in told["columns"]}
    name = f"{table}.{_ending(manifest['rows'])}"
    digest, count = hashlib.sha256(), 0
    read = _json_rows if manifest["rows"] == "json" else _csv_rows
    waiting: list[dict[str, Any]] = []
    with archive.open(name) as member:
        for row in read(_lines(member, name, digest.update), columns, name):
            if table == "things":
                _check_thing(row, name)
            waiting.append(row)
            count += 1
            if len(waiting) == AT_ONCE:
                _put_rows(connection, table, waiting)
    _put_rows(connection, table, waiting)
    if (count, digest.hexdigest()) != (told["rows"], told["sha256"]):
        raise _bad(f"{name} is not what the manifest says: it was cut or changed")
    return count


def _put_rows(connection: Connection, table: str, rows: list[dict[str, Any]]) -> None:
    """Write rows as many at once as name the same columns; what a row does not name is nothing."""
    kept = METADATA.tables[table]
    for names, alike in groupby(rows, key=lambda row: [n for n in row if row[n] is not None]):
        told = [{n: _value(kept.c[n].type, row[n]) for n in names} for row in alike]
        connection.execute(insert(kept), told)
    rows.clear()


def _value(column: object, stored: Any) -> Any:
    if isinstance(column, JSON):
        return json.loads(stored)
    return bool(stored) if isinstance(column, Boolean) else stored


def _lines(member: IO[bytes], name: str, seen: Callable[[bytes], None]) -> Iterator[str]:
    while line := member.readline(LONGEST_LINE):
        if len(line) == LONGEST_LINE:
            raise CellError(f"{name} has a line of more than {LONGEST_LINE // 2**20} MiB")
        seen(line)
        yield line.decode()


def _json_rows(
    lines: Iterator[str], columns: Mapping[str, str], name: str
) -> Iterator[dict[str, Any]]:
    for number, line in enumerate(lines, 1):
        try:
            yield from_json(line, columns)
        except CellError as error:
            raise CellError(f"{name}, line {number}: {error}") from None


def _csv_rows(
    lines: Iterator[str], columns: Mapping[str, str], name: str
) -> Iterator[dict[str, Any]]:
    csv.field_size_limit(LONGEST_LINE)
    reader = csv.reader(lines, strict=True)
    if next(reader, None) != list(columns):
        raise CellError(f"{name}: its first line does not name its columns")
    for number, cells in enumerate(reader, 1):
        if len(cells) != len(columns):
            raise CellError(f"{name}, row {number}: it has another number of cells")
        try:
            yield {
                column: from_cell(column, cell, holds)
                for (column, holds), cell in zip(columns.items(), cells, strict=True)
            }
        except CellError as error:
            raise CellError(f"{name}, row {number}: {error}") from None


def _check_thing(row: Mapping[str, Any], name: str) -> None:
    try:
        thing_of(str(row["kind"]), dict(json.loads(row["facts"])))
    except (MisuseError, TypeError, ValueError) as error:
        raise CellError(f"{name}, thing {row['id']!r}: {error}") from None
