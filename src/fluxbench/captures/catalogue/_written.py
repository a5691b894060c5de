"""The catalogue on disk: table, JSON Lines, page; each whole under its name or not at all."""

import csv
import json
import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, TextIO

from fluxbench.base import CaptureError
from fluxbench.captures.catalogue._row import Entry, object_of, row_of

_FORMULA = ("=", "+", "-", "@")


class Written:
    """Takes the entries in their order, then keeps what was written."""

    def __init__(self, folder: Path) -> None:
        self._stack = ExitStack()
        self._table = self._stack.enter_context(_whole(folder / "catalogue.csv"))
        self._lines = self._stack.enter_context(_whole(folder / "catalogue.jsonl"))
        self._rows = csv.writer(self._table, lineterminator="\r\n")
        self._begun = False

    def __enter__(self) -> "Written":
        return self

    def __exit__(self, *error: Any) -> None:
        self._stack.__exit__(*error)

    def add(self, entry: Entry) -> None:
        """Write one capture."""
        row = row_of(entry)
        if not self._begun:
            self._rows.writerow(row)
            self._begun = True
        self._rows.writerow([cell(value) for value in row.values()])
        json.dump(object_of(entry), self._lines, allow_nan=False)
        self._lines.write("\n")


def cell(value: str | float | int | None) -> str | float | int | None:
    """What a table program takes for text, whatever a name or a header holds.

    A text that would be a formula has an apostrophe in front; line ends become blanks.

    >>> cell("=1+1"), cell(-1.5)
    ("'=1+1", -1.5)
    """
    if not isinstance(value, str):
        return value
    plain = " ".join(value.split())
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


@contextmanager
def _whole(path: Path) -> Iterator[TextIO]:
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise CaptureError(f"{path} cannot be written: {error.strerror or error}") from None
    finally:
        part.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a file whole, or leave the one that is there."""
    with _whole(path) as file:
        file.write(text)
