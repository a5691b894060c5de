"""The numbers that rows are given, which are never given twice, not even after an import."""

from collections.abc import Mapping

from sqlalchemy import Column, Connection, func, select, text

from fluxbench.book._tables import METADATA

NEVER_TWICE = ("journal", "things")
"""Tables whose last number is remembered though its row be gone."""
_LAST = text("SELECT pg_sequence_last_value(pg_get_serial_sequence(:table, :column)::regclass)")
_SET = text("SELECT setval(pg_get_serial_sequence(:table, :column), :number)")


def numbers_given(connection: Connection) -> dict[str, int]:
    """The last number that was given in each of these tables, for an archive."""
    told: dict[str, int | None] = {}
    if connection.dialect.name == "sqlite":
        for name, number in connection.execute(text("SELECT name, seq FROM sqlite_sequence")):
            told[name] = number
    else:
        for name in NEVER_TWICE:
            asked = {"table": name, "column": _key(name).name}
            told[name] = connection.execute(_LAST, asked).scalar()
    last = {name: told.get(name) for name in NEVER_TWICE}
    return {name: number for name, number in last.items() if number is not None}


def set_numbers(connection: Connection, told: Mapping[str, int]) -> None:
    """Go on after the numbers of an archive, whose rows have been written with theirs."""
    for name, number in told.items():
        if connection.dialect.name == "sqlite":
            given = {"name": name, "number": int(number)}
            connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), given)
            connection.execute(text("INSERT INTO sqlite_sequence VALUES (:name, :number)"), given)
    if connection.dialect.name == "sqlite":
        return
    for name, table in METADATA.tables.items():
        key = _key(name)
        if key is not table.autoincrement_column:
            continue
        last = max(int(told.get(name, 0)), connection.execute(select(func.max(key))).scalar() or 0)
        if last > 0:
            connection.execute(_SET, {"table": name, "column": key.name, "number": last})


def _key(table: str) -> Column[int]:
    (key,) = METADATA.tables[table].primary_key.columns
    return key
