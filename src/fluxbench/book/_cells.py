"""Values of the tables as JSON and as cells of CSV, and back without loss.

In CSV nothing is an empty cell, and a text that a spreadsheet could take for a formula, that is
empty, or that begins with the mark itself has the mark before it. Numbers have none.
"""

import json
import math
from collections.abc import Mapping
from typing import Any

from sqlalchemy import JSON, Boolean, Float, Integer

from fluxbench.book._tables import METADATA

MARK = "'"
MARKED = ("=", "+", "-", "@", "\t", "\r", "\n", MARK)

FITS: Mapping[str, tuple[type, ...]] = {
    "text": (str,),
    "bool": (bool,),
    "int": (int,),
    "float": (int, float),
}


class CellError(ValueError):
    """A value that its column cannot hold; the text says why."""


def columns_of(table: str) -> dict[str, str]:
    """The columns of a table and what each holds: json, bool, int, float or text."""
    return {column.name: _holds(column.type) for column in METADATA.tables[table].columns}


def _holds(column_type: object) -> str:
    for kind, name in ((JSON, "json"), (Boolean, "bool"), (Integer, "int"), (Float, "float")):
        if isinstance(column_type, kind):
            return name
    return "text"


def to_json(row: Mapping[str, Any], columns: Mapping[str, str]) -> str:
    """A row as the database has it, as one line; a column that holds nothing is left out."""
    told = {
        name: _told(row[name], holds) for name, holds in columns.items() if row[name] is not None
    }
    return json.dumps(told, ensure_ascii=False, allow_nan=False)


def _told(value: Any, holds: str) -> Any:
    if holds == "json":
        return json.loads(value)
    return bool(value) if holds == "bool" else value


def from_json(line: str, columns: Mapping[str, str]) -> dict[str, Any]:
    """A row for the database; CellError for what its columns cannot hold."""
    try:
        told = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise CellError("is no JSON object") from None
    if not isinstance(told, dict) or not told.keys() <= columns.keys():
        raise CellError("has other fields than its table")
    return {name: _stored(name, told, holds) for name, holds in columns.items()}


def _no_number(text: str) -> float:
    raise ValueError(text)


def _stored(name: str, told: Mapping[str, Any], holds: str) -> Any:
    if name not in told:
        return None
    value: Any = told[name]
    if holds == "json":
        return _json(name, value)
    if type(value) not in FITS[holds]:
        raise CellError(f"{name} is no {holds}")
    if holds == "int" and not -(2**63) <= value < 2**63:
        raise CellError(f"{name} is too great")
    return float(value) if holds == "float" else value


def _json(name: str, value: Any) -> str:
    try:
        return json.dumps(value, allow_nan=False)
    except (ValueError, RecursionError):
        raise CellError(f"{name} holds a number that is not finite") from None


def to_cell(value: Any, holds: str) -> str:
    """A value as the database has it, as a cell."""
    if value is None:
        return ""
    if holds == "bool":
        return "true" if value else "false"
    if holds == "float":
        return repr(float(value))
    text = str(value)
    marked = holds == "text" and (not text or text.startswith(MARKED))
    return MARK + text if marked else text


def from_cell(name: str, cell: str, holds: str) -> Any:
    """The value for the database; CellError for what the column cannot hold."""
    if not cell:
        return None
    if holds == "text":
        return cell.removeprefix(MARK)
    try:
        if holds == "json":
            json.loads(cell, parse_constant=_no_number)
            return cell
        if holds == "bool":
            return {"true": 1, "false": 0}[cell]
        if holds == "float":
            return _finite(float(cell))
        return _in_range(int(cell))
    except (ValueError, KeyError, RecursionError):
        raise CellError(f"{name} is no {holds}") from None


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(value)
    return value


def _in_range(value: int) -> int:
    if not -(2**63) <= value < 2**63:
        raise ValueError(value)
    return value


def schema() -> dict[str, Any]:
    """The lines of an archive as JSON Schema, one definition a table."""
    kinds: dict[str, Any] = {
        "json": {},
        "bool": {"type": "boolean"},
        "int": {"type": "integer"},
        "float": {"type": "number"},
        "text": {"type": "string"},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Archive of a Fluxbench book: a line of TABLE.jsonl is a TABLE",
        "$defs": {
            table.name: {
                "type": "object",
                "properties": {name: kinds[h] for name, h in columns_of(table.name).items()},
                "required": [
                    column.name for column in table.columns
                    if not column.nullable
                ],
                "additionalProperties": False,
            }
            for table in METADATA.sorted_tables
        },
    }  # fmt: skip
